import { ProductionFollower } from "@dyetrace/measure";
import type { Followed, TaskStream } from "@dyetrace/wire";

/** Addresses that are told; and of how many packets of an interval the sender is asked for. */
const MOST_SOURCES = 8;
const LOOKS = 64;

/** One stay in the group of a stream of others: its packets' names, and who sends them. */
export class StreamFollower {
  /** So far; the order of arrival. */
  packets = 0;
  readonly #follower: ProductionFollower;
  #sources: string[] = [];
  #looks = 0;

  constructor({ format, namesPerInterval }: NonNullable<TaskStream["production"]>, seesHostDrops: boolean) {
    this.#follower = new ProductionFollower(format, namesPerInterval, seesHostDrops);
  }

  /** Hot path. */
  take(
    bytes: Uint8Array,
    at: number,
    present: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void {
    this.packets += 1;
    this.#follower.take(bytes, at, present, length, arrivalNs, ttl, dscp);
    if (this.#looks >= LOOKS) return;
    this.#looks += 1;
    const address = source();
    if (address === null || this.#sources.length >= MOST_SOURCES || this.#sources.includes(address)) return;
    this.#sources.push(address);
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#follower.noteHostDrops(drops, arrivalNs);
  }

  /** @param isLast nothing is held back any more @returns what came since the last cut */
  cut(isLast: boolean): Followed {
    const { rtp, digest } = this.#follower.cut(isLast);
    const { names, ...counts } = digest;
    const sources = this.#sources;
    this.#sources = [];
    this.#looks = 0;
    return { sources, rtp, digest: { ...counts, names: names === null ? [] : [names] } };
  }
}
