import { getOrAdd } from "../account/get-or-add.ts";
import { readLostNumbers } from "../intake/lost-numbers.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { keyOf, type SteadyLoss } from "./steady-loss.ts";

/** Reports of one second may be a second apart. */
const SLACK_NS = 1e9;

/**
 * Of listeners that lose all the time only a sum is kept: what they lost at the instants of other losses, by which they share
 * these or not. Filled by a second look at the episodes.
 */
export class LossesBeside {
  readonly #steady: ReadonlySet<string>;
  readonly #times = new Map<number, { readonly fromNs: number; readonly toNs: number }[]>();
  readonly #found = new Map<number, Episode[]>();

  /** @param others losses that are no state */
  constructor(steady: readonly SteadyLoss[], others: readonly Episode[]) {
    this.#steady = new Set(steady.filter(({ kind }) => kind === "loss").map(keyOf));
    const losses = others.filter(({ kind, count }) => kind === "loss" && count > 0);
    for (const { streamId, fromNs, toNs } of losses.toSorted((a, b) => a.fromNs - b.fromNs)) {
      if (streamId === null) continue;
      const times = getOrAdd(this.#times, streamId, () => []);
      const last = times.at(-1);
      if (last === undefined || fromNs > last.toNs + SLACK_NS) times.push({ fromNs, toNs });
      else times.splice(-1, 1, { fromNs: last.fromNs, toNs: Math.max(last.toNs, toNs) });
    }
  }

  /** Whether a second look could find anything. */
  get isNeeded(): boolean {
    return this.#steady.size > 0 && this.#times.size > 0;
  }

  take(episode: Episode): void {
    const { kind, streamId, fromNs, toNs } = episode;
    if (kind !== "loss" || streamId === null || !this.#steady.has(keyOf(episode))) return;
    const times = this.#times.get(streamId) ?? [];
    const isThen = times[firstEndingAfter(times, fromNs - SLACK_NS)];
    if (isThen === undefined || isThen.fromNs > toNs + SLACK_NS) return;
    getOrAdd(this.#found, streamId, () => []).push(episode);
  }

  /** Listeners that lose all the time, with the share that they lost of some numbers; at least one of them. */
  sharesOf(streamId: number, fromNs: number, toNs: number, numbers: ReadonlySet<number>): Map<string, number> {
    const shares = new Map<string, number>();
    for (const { agent, fromNs: from, toNs: to, detail } of this.#found.get(streamId) ?? []) {
      if (from > toNs + SLACK_NS || to < fromNs - SLACK_NS) continue;
      for (const [first, last] of readLostNumbers(detail)) {
        for (let number = first; number <= last; number++) {
          if (numbers.has(number)) shares.set(agent, (shares.get(agent) ?? 0) + 1 / numbers.size);
        }
      }
    }
    return shares;
  }
}

/** @returns the index of the first that ends then or later */
function firstEndingAfter(times: readonly { readonly toNs: number }[], atNs: number): number {
  let [low, high] = [0, times.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((times[middle]?.toNs ?? 0) < atNs) low = middle + 1;
    else high = middle;
  }
  return low;
}
