import { didYouMean } from "../nearest-name.ts";
import type { DataPath } from "../yaml/yaml-document.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import { parseScenarioDurationNs } from "./scenario-file-duration.ts";
import type { ScenarioFileEntry } from "./scenario-file-schema.ts";
import { resolvePayload, resolveRate, type StreamsByName } from "./scenario-file-streams.ts";

/** One thing that happens to one stream. `emit`, `stop` and `set` are the source's, `join` and `leave` the listeners'. */
export type ScenarioAction = ScenarioActionPlace & ScenarioVerb;

interface ScenarioActionPlace {
  /** After the start of the run. */
  readonly atNs: number;
  /** Name of the stream. */
  readonly stream: string;
  /** Position in the file's timeline, from 0; repeats of an entry share it. */
  readonly entry: number;
}

export type ScenarioVerb =
  | { readonly kind: "emit" | "stop" }
  /** `agents` null: every agent but the stream's source. */
  | {
      readonly kind: "join" | "leave";
      readonly agents: readonly string[] | null;
    }
  /** Of a stream of others: these do not join, and some program on their hosts has. `agents` as with a join. */
  | { readonly kind: "watch"; readonly agents: readonly string[] | null }
  /** Null: stays as it is. At least one of the two is set. */
  | {
      readonly kind: "set";
      readonly rateBps: number | null;
      readonly payloadBytes: number | null;
    };

const VERBS = ["emit", "stop", "join", "watch", "leave", "set"] as const;
const OF_LISTENERS: readonly string[] = ["join", "watch", "leave"];
type Verb = (typeof VERBS)[number];

const MAX_ACTIONS = 65_536; // as many as an agent's task holds
const MAX_RUN_NS = 31 * 86_400e9;

/**
 * @param membershipIntervalNs what `membership-interval` stands for
 * @returns every action, repeats written out, ascending in time; incomplete where mistakes were added
 */
export function resolveTimeline(
  entries: readonly ScenarioFileEntry[],
  byName: StreamsByName,
  membershipIntervalNs: number,
  mistakes: FileMistakes,
): ScenarioAction[] {
  const parse = (text: string): number => parseScenarioDurationNs(text, membershipIntervalNs);
  const actions: ScenarioAction[] = [];
  let previousNs = 0;
  for (const [index, entry] of entries.entries()) {
    const path: DataPath = ["timeline", index];
    const times = resolveTimes(entry, path, previousNs, parse, mistakes);
    const resolved = resolveVerb(entry, path, byName, mistakes);
    if (times === null || resolved === null) continue;
    previousNs = times.firstNs + (times.count - 1) * times.everyNs + (resolved.streams.length - 1) * times.staggerNs;
    if (previousNs > MAX_RUN_NS) {
      mistakes.add(path, "This lies more than 31 days after the start", "Shorten the scenario");
      continue;
    }
    if (actions.length + times.count * resolved.streams.length > MAX_ACTIONS) {
      mistakes.add(path, `With its repeats the timeline has more than ${MAX_ACTIONS} actions`, "Repeat less often");
      return actions;
    }
    for (let turn = 0; turn < times.count; turn++) {
      const turnNs = times.firstNs + turn * times.everyNs;
      for (const [place, stream] of resolved.streams.entries()) {
        actions.push({ atNs: turnNs + place * times.staggerNs, stream, entry: index, ...resolved.verb });
      }
    }
  }
  return actions.toSorted((a, b) => a.atNs - b.atNs); // stable: the file's order where times are equal
}

interface Times {
  readonly firstNs: number;
  readonly everyNs: number;
  /** From one of the entry's streams to the next. */
  readonly staggerNs: number;
  /** In all, the first included. */
  readonly count: number;
}

/** @param previousNs when the entry before this one happened for the last time: what `after` counts from */
function resolveTimes(
  entry: ScenarioFileEntry,
  path: DataPath,
  previousNs: number,
  parse: (text: string) => number,
  mistakes: FileMistakes,
): Times | null {
  const { at, after, repeat, stagger } = entry;
  if ((at === undefined) === (after === undefined)) {
    const message = at === undefined ? "This entry does not say when" : `This entry has both "at" and "after"`;
    mistakes.add(path, message, `Write either "at" (from the start) or "after" (from the entry before)`);
    return null;
  }
  const key = at === undefined ? "after" : "at";
  const offsetNs = mistakes.attempt([...path, key], () => parse(at ?? after ?? ""));
  const everyNs = repeat === undefined ? 0 : mistakes.attempt([...path, "repeat", "every"], () => parse(repeat.every));
  const staggerNs = stagger === undefined ? 0 : mistakes.attempt([...path, "stagger"], () => parse(stagger));
  if (offsetNs === null || everyNs === null || staggerNs === null) return null;
  if (repeat !== undefined && everyNs === 0) {
    mistakes.add([...path, "repeat", "every"], "Repeats need some time between them", "Write a duration above 0");
    return null;
  }
  return {
    firstNs: at === undefined ? previousNs + offsetNs : offsetNs,
    everyNs,
    staggerNs,
    count: repeat?.times ?? 1,
  };
}

interface StreamsVerb {
  readonly streams: readonly string[];
  readonly verb: ScenarioVerb;
}

function resolveVerb(
  entry: ScenarioFileEntry,
  path: DataPath,
  byName: StreamsByName,
  mistakes: FileMistakes,
): StreamsVerb | null {
  const verbs = VERBS.filter((verb) => entry[verb] !== undefined);
  const [verb] = verbs;
  if (verb === undefined || verbs.length > 1) {
    const message =
      verb === undefined ? "This entry does nothing" : `This entry does two things: ${verbs.join(" and ")}`;
    mistakes.add(path, message, `Write exactly one of ${VERBS.join(", ")} per entry`);
    return null;
  }
  rejectStrayKeys(entry, verb, path, mistakes);
  const names = resolveStreamNames(entry[verb] ?? [], [...path, verb], byName, mistakes);
  if (names === null) return null;
  if (verb === "emit" || verb === "stop") return { streams: names, verb: { kind: verb } };
  if (verb === "join" || verb === "leave" || verb === "watch") {
    return { streams: names, verb: { kind: verb, agents: resolveAgents(entry.agents, [...path, "agents"], mistakes) } };
  }
  if (entry.rate === undefined && entry.payload === undefined) {
    mistakes.add(path, `"set" changes nothing here`, `Add "rate", "payload" or both`);
    return null;
  }
  const rateBps = entry.rate === undefined ? undefined : resolveRate(entry.rate, [...path, "rate"], mistakes);
  const payloadBytes =
    entry.payload === undefined ? undefined : resolvePayload(entry.payload, [...path, "payload"], mistakes);
  if (rateBps === null || payloadBytes === null) return null;
  return {
    streams: names,
    verb: {
      kind: "set",
      rateBps: rateBps ?? null,
      payloadBytes: payloadBytes ?? null,
    },
  };
}

function rejectStrayKeys(entry: ScenarioFileEntry, verb: Verb, path: DataPath, mistakes: FileMistakes): void {
  if (entry.agents !== undefined && !OF_LISTENERS.includes(verb)) {
    mistakes.add(
      [...path, "agents"],
      `"agents" does not go with "${verb}", which is the source's`,
      `Remove "agents"`,
      "key",
    );
  }
  for (const key of ["rate", "payload"] as const) {
    if (entry[key] === undefined || verb === "set") continue;
    mistakes.add([...path, key], `"${key}" does not go with "${verb}"`, `Set it on the stream, or write "set"`, "key");
  }
}

/** @returns null for every agent but the source */
function resolveAgents(
  written: string | readonly string[] | undefined,
  path: DataPath,
  mistakes: FileMistakes,
): readonly string[] | null {
  if (written === undefined || written === "all") return null;
  const agents = typeof written === "string" ? [written] : written;
  for (const [index, agent] of agents.entries()) {
    if (agent === "all") mistakes.add([...path, index], `"all" stands alone, not in a list`, "Write agents: all");
    else if (agents.indexOf(agent) < index) {
      mistakes.add([...path, index], `"${agent}" stands here a second time`, "Remove one of the two");
    }
  }
  return agents;
}

/** @returns the streams meant, copies written out, each once; null with a mistake added */
function resolveStreamNames(
  written: string | readonly string[],
  path: DataPath,
  byName: StreamsByName,
  mistakes: FileMistakes,
): readonly string[] | null {
  const isList = typeof written !== "string";
  const found = (isList ? written : [written]).map((name, index) => {
    const meant = byName.get(name);
    if (meant !== undefined) return meant;
    const known = [...byName.keys()];
    const hint = (): string => didYouMean(name, known, `Streams: ${known.slice(0, 10).join(", ")}`);
    mistakes.add(isList ? [...path, index] : path, `No stream is called "${name}"`, hint);
    return null;
  });
  if (found.includes(null)) return null;
  return [...new Set(found.flatMap((names) => names ?? []))];
}
