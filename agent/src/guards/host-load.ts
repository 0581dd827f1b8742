import type { Guards } from "@dyetrace/wire";
import type { Fault } from "@dyetrace/wire/fault";
import { formatRateBps } from "@dyetrace/wire/units";
import { type GuardedStream, IN_FILE, streamRefused, taskRefused } from "./guarded-stream.ts";

/** Sums that are kept up are off by less than this share of a limit after 65,536 changes. */
const ROUNDING = 1e-9;

/** All that a host sends at one time, held to its guards as it changes. Each change takes the same time. */
export class HostLoad {
  readonly #guards: Guards;
  readonly #streams = new Map<number, GuardedStream>();
  readonly #companions = new Map<number, GuardedStream>();
  /** The streams and hosts that have a companion between them. */
  readonly #pairs = new Set<string>();
  /** Companions by the stream that they run beside. */
  readonly #beside = new Map<number, Set<number>>();
  #rateBps = 0;
  #packetsPerSecond = 0;

  constructor(guards: Guards) {
    this.#guards = guards;
  }

  has(streamId: number): boolean {
    return this.#streams.has(streamId) || this.#companions.has(streamId);
  }

  /** Adds a stream, or puts it in the place of what it was. @returns why this host does not send all that, or null */
  put(stream: GuardedStream): Fault | null {
    const { streamId, companionOf } = stream;
    this.#takeOut(streamId);
    this.#rateBps += stream.rateBps;
    this.#packetsPerSecond += packetsOf(stream);
    if (companionOf === undefined) {
      this.#streams.set(streamId, stream);
      return this.#refuse();
    }
    const refusal = this.#refuseCompanion(stream, companionOf);
    this.#companions.set(streamId, stream);
    this.#pairs.add(pairOf(stream));
    const beside = this.#beside.get(companionOf) ?? new Set();
    this.#beside.set(companionOf, beside.add(streamId));
    return refusal ?? this.#refuse();
  }

  /** Takes a stream out, with its companions. @returns what was taken out */
  remove(streamId: number): readonly number[] {
    const out = [streamId, ...(this.#beside.get(streamId) ?? [])].filter((id) => this.has(id));
    for (const id of out) this.#takeOut(id);
    return out;
  }

  #takeOut(streamId: number): void {
    const stream = this.#streams.get(streamId) ?? this.#companions.get(streamId);
    if (stream === undefined) return;
    this.#rateBps -= stream.rateBps;
    this.#packetsPerSecond -= packetsOf(stream);
    this.#streams.delete(streamId);
    if (!this.#companions.delete(streamId)) return;
    this.#pairs.delete(pairOf(stream));
    this.#beside.get(stream.companionOf ?? -1)?.delete(streamId);
  }

  /** Companions go beside a stream that is being sent, to its port, one to each host. */
  #refuseCompanion(companion: GuardedStream, companionOf: number): Fault | null {
    const beside = this.#streams.get(companionOf);
    if (beside === undefined) return streamRefused(companion, "a companion goes only beside a stream that is sent", "");
    if (beside.port !== companion.port) {
      return streamRefused(companion, `a companion goes to the port of its stream, ${beside.port}`, "");
    }
    if (!this.#pairs.has(pairOf(companion))) return null;
    return streamRefused(companion, "a stream has one companion to a host", "");
  }

  #refuse(): Fault | null {
    const { maxStreams, maxCompanions, maxRateBps, maxPacketsPerSecond } = this.#guards;
    const refuse = (reason: string, hint: string): Fault => taskRefused(`send so much: ${reason}`, hint);
    if (this.#streams.size > maxStreams) {
      const reason = `${this.#streams.size} streams exceed ${maxStreams}`;
      return refuse(reason, `Send fewer, or see max-streams ${IN_FILE}.`);
    }
    if (this.#companions.size > maxCompanions) {
      const reason = `${this.#companions.size} companions exceed ${maxCompanions}`;
      return refuse(reason, `Let fewer streams have one, or see max-companions ${IN_FILE}.`);
    }
    if (this.#rateBps > maxRateBps * (1 + ROUNDING)) {
      const reason = `${formatRateBps(this.#rateBps)} exceeds ${formatRateBps(maxRateBps)}`;
      return refuse(reason, `Lower it, or see max-rate ${IN_FILE}.`);
    }
    if (this.#packetsPerSecond > maxPacketsPerSecond * (1 + ROUNDING)) {
      const reason = `${Math.ceil(this.#packetsPerSecond)} packets/s exceed ${maxPacketsPerSecond}`;
      return refuse(reason, `Send larger or fewer packets, or see max-packets-per-second ${IN_FILE}.`);
    }
    return null;
  }
}

const packetsOf = ({ rateBps, payloadBytes }: GuardedStream): number => rateBps / (8 * payloadBytes);
const pairOf = ({ companionOf, group }: GuardedStream): string => `${companionOf} ${group}`;
