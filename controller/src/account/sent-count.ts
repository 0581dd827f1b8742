import { type SendingStretch, scheduledPackets } from "../plan/sending-stretches.ts";
import type { Emission } from "./emissions.ts";

/**
 * Which number a source had come to at an instant: exact at the ends of its report intervals, where it counted, and in
 * between as its schedule goes.
 */
export class SentCount {
  readonly #emission: Pick<Emission, "intervals">;
  readonly #stretches: readonly SendingStretch[];

  constructor(emission: Pick<Emission, "intervals">, stretches: readonly SendingStretch[]) {
    this.#emission = emission;
    this.#stretches = stretches;
  }

  /** @returns the number of the first packet sent after `atNs`, right within one; past the last number at the end */
  nextAt(atNs: number): number {
    const { intervals } = this.#emission;
    const interval = intervals.find((candidate) => candidate.toNs > atNs);
    if (interval === undefined) return (intervals.at(-1)?.lastSeq ?? -1) + 1;
    const { fromNs, toNs, firstSeq, lastSeq } = interval;
    if (atNs <= fromNs) return firstSeq;
    const before = scheduledPackets(this.#stretches, fromNs);
    const planned = scheduledPackets(this.#stretches, toNs) - before;
    const share = planned > 0 ? (scheduledPackets(this.#stretches, atNs) - before) / planned : 1;
    return firstSeq + Math.floor(share * (lastSeq + 1 - firstSeq));
  }

  /** @returns when a number was sent, as near as the report intervals of the source tell: between their ends evenly */
  sentAt(seq: number): number {
    const { intervals } = this.#emission;
    const interval = intervals.find(({ lastSeq }) => lastSeq >= seq);
    if (interval === undefined) return intervals.at(-1)?.toNs ?? 0;
    const { fromNs, toNs, firstSeq, lastSeq } = interval;
    return fromNs + Math.max(0, (toNs - fromNs) * ((seq - firstSeq) / (lastSeq + 1 - firstSeq)));
  }

  /** Whether the schedule sends nothing from one instant to the other. */
  isPause(fromNs: number, toNs: number): boolean {
    return scheduledPackets(this.#stretches, toNs) === scheduledPackets(this.#stretches, fromNs);
  }
}
