import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import { type Pace, rejectSlow } from "./scenario-file-streams.ts";
import type { ScenarioAction } from "./scenario-file-timeline.ts";
import type { ScenarioStream } from "./scenario-stream.ts";

/**
 * Plays the timeline through: nothing stops or changes before it starts, nobody leaves without having joined, and every
 * stream ends.
 * @param actions ascending in time
 */
export function checkOrder(
  actions: readonly ScenarioAction[],
  streams: readonly ScenarioStream[],
  mistakes: FileMistakes,
): void {
  const plays = new Map(streams.map((stream) => [stream.name, new StreamPlay(stream, mistakes)]));
  const faultyEntries = new Set<number>(); // one complaint per entry, however many repeats and copies it has
  for (const action of actions) {
    if (faultyEntries.has(action.entry)) continue;
    if (plays.get(action.stream)?.take(action) === false) faultyEntries.add(action.entry);
  }
  if (!mistakes.isEmpty) return;
  const faultyStreams = new Set<number>();
  for (const [name, play] of plays) {
    const entry = play.stream.entry;
    if (!faultyStreams.has(entry) && !play.end(name)) faultyStreams.add(entry);
  }
}

/** One stream while the timeline is played. */
class StreamPlay {
  readonly stream: ScenarioStream;
  readonly #mistakes: FileMistakes;
  #pace: Pace;
  /** The timeline entry that started it; null while it is not running. */
  #runningSince: number | null = null;
  #hasRun = false;
  /** Null once a join named no agents: everyone but the source. */
  #everJoined: Set<string> | null = new Set();
  #isWatched = false;

  constructor(stream: ScenarioStream, mistakes: FileMistakes) {
    this.stream = stream;
    this.#mistakes = mistakes;
    this.#pace = stream;
  }

  /** @returns false if a mistake was added */
  take(action: ScenarioAction): boolean {
    const { name, source, production } = this.stream;
    const complain = (key: string, message: string, hint: string): false => {
      this.#mistakes.add(["timeline", action.entry, key], message, hint);
      return false;
    };
    if (production !== undefined && ["emit", "stop", "set"].includes(action.kind)) {
      const what = `"${name}" is somebody else's stream, which is followed and never sent`;
      return complain(action.kind, what, "Let agents join it or watch it, and leave it");
    }
    switch (action.kind) {
      case "emit":
        if (this.#runningSince !== null) return complain("emit", `"${name}" is already running here`, "Stop it first");
        this.#runningSince = action.entry;
        this.#hasRun = true;
        return true;
      case "stop":
        if (this.#runningSince === null) return complain("stop", `"${name}" is not running here`, "Emit it earlier");
        this.#runningSince = null;
        return true;
      case "set": {
        if (this.#runningSince === null) return complain("set", `"${name}" is not running here`, "Emit it earlier");
        this.#pace = {
          rateBps: action.rateBps ?? this.#pace.rateBps,
          payloadBytes: action.payloadBytes ?? this.#pace.payloadBytes,
          burstPackets: this.#pace.burstPackets,
        };
        return rejectSlow(
          this.#pace,
          ["timeline", action.entry, action.rateBps === null ? "payload" : "rate"],
          this.#mistakes,
        );
      }
      case "watch":
        if (production === undefined) {
          const what = `"${name}" is sent in this run: who does not join it watches in any case`;
          return complain("watch", what, "Remove the entry, or set production: true on a stream of others");
        }
        for (const agent of action.agents ?? []) {
          if (!this.#everJoined?.has(agent)) continue;
          return complain("agents", `"${agent}" joins "${name}", so it does not only watch it`, "Do one of the two");
        }
        this.#isWatched = true;
        return true;
      case "join":
        if (action.agents?.includes(source)) {
          return complain(
            "agents",
            `"${source}" is the source of "${name}" and cannot also listen to it`,
            "Name other agents",
          );
        }
        if (action.agents === null) this.#everJoined = null;
        else for (const agent of action.agents) this.#everJoined?.add(agent);
        return true;
      case "leave": {
        if (this.#everJoined === null || this.#isWatched) return true;
        if (this.#everJoined.size === 0)
          return complain("leave", `Nobody has joined "${name}" by then`, "Join it earlier");
        const stranger = action.agents?.find((agent) => this.#everJoined?.has(agent) === false);
        if (stranger === undefined) return true;
        return complain(
          "agents",
          `"${stranger}" has not joined "${name}" by then`,
          "Join it earlier, or name other agents",
        );
      }
    }
  }

  /** @returns false if a mistake was added */
  end(name: string): boolean {
    if (this.stream.production !== undefined) {
      if (this.#everJoined === null || this.#everJoined.size > 0 || this.#isWatched) return true;
      const example = `Add, for example, { at: 0s, join: ${name}, agents: all }`;
      this.#mistakes.add(["streams", this.stream.entry], `Nobody joins or watches "${name}" in the timeline`, example);
      return false;
    }
    if (!this.#hasRun) {
      this.#mistakes.add(
        ["streams", this.stream.entry],
        `Nothing in the timeline emits "${name}"`,
        `Add, for example, { at: 0s, emit: ${name} }`,
      );
      return false;
    }
    if (this.#runningSince === null) return true;
    this.#mistakes.add(
      ["timeline", this.#runningSince],
      `"${name}" starts here and is never stopped`,
      `Add, for example, { after: 10s, stop: ${name} }`,
    );
    return false;
  }
}
