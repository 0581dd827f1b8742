import { TS_PACKET_BYTES, TS_SYNC_BYTE, type TsCounts, TsFollower } from "./ts-follower.ts";
import { type TsTimes, TsTiming } from "./ts-timing.ts";

/** What the headers of one transport stream told in one interval. */
export interface TsFlowCounts extends Omit<TsCounts, "pids">, TsTimes {}

/** One transport stream, by its continuity counters and by its times. */
export class TsFlow {
  readonly #follower = new TsFollower();
  readonly #timing = new TsTiming();

  /** Whole packets, each with its sync byte (RFC 2250, section 2). */
  static isTransportStream(bytes: Uint8Array, at: number, length: number): boolean {
    if (length === 0 || length % TS_PACKET_BYTES !== 0) return false;
    for (let i = at; i < at + length; i += TS_PACKET_BYTES) if (bytes[i] !== TS_SYNC_BYTE) return false;
    return true;
  }

  /** The last datagram held null packets alone, which differ in nothing. */
  get isStuffing(): boolean {
    return this.#follower.isStuffing;
  }

  /** Hot path. @returns packets that the counters show missing before this datagram or in it; at least */
  record(bytes: Uint8Array, at: number, length: number, arrivalNs: number): number {
    this.#follower.record(bytes, at, length);
    if (length % TS_PACKET_BYTES === 0) this.#timing.record(bytes, at, length, arrivalNs);
    return this.#follower.missing;
  }

  take(): TsFlowCounts {
    const { pids: _, ...counts } = this.#follower.take();
    return { ...counts, ...this.#timing.take() };
  }
}

/** Counts add up, times are the worst, the number of programs the latest. */
export function mergeTsFlows(a: TsFlowCounts, b: TsFlowCounts): TsFlowCounts {
  const merged: Record<string, number | null> = {};
  for (const key of Object.keys(a) as (keyof TsFlowCounts)[]) {
    const [one, other] = [a[key], b[key]];
    if (key === "programs") merged[key] = other ?? one;
    else if (key.endsWith("Ns")) merged[key] = one === null ? other : other === null ? one : Math.max(one, other);
    else merged[key] = (one ?? 0) + (other ?? 0);
  }
  return merged as unknown as TsFlowCounts;
}
