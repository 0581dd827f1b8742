import type { SourceTree } from "../site/source-tree.ts";
import type { StreamTrial } from "./stream-trials.ts";

/** Until when something is known to have come along each segment. */
export class ProvenLater {
  /** By the segment's number: the latest time before which a silence must have begun for packets to have come since. */
  readonly #untilMs = new Map<number, number>();

  constructor(trials: readonly StreamTrial[]) {
    for (const { tree, clockMs = 0, outcomes } of trials) {
      for (const { leaf, good, marginMs } of outcomes) {
        if (good !== null) this.#note(tree, leaf, good.endMs - marginMs - clockMs);
      }
    }
  }

  /** Whether something that was sent after an instant came along a segment: by the number of the segment, ms of the run. */
  has(segment: number, sinceMs: number): boolean {
    return (this.#untilMs.get(segment) ?? Number.NEGATIVE_INFINITY) > sinceMs;
  }

  #note({ source, parent, into }: SourceTree, leaf: number, untilMs: number): void {
    for (let node = leaf; node !== source && node !== -1; node = parent[node] ?? -1) {
      const segment = into[node] ?? -1;
      if ((this.#untilMs.get(segment) ?? Number.NEGATIVE_INFINITY) < untilMs) this.#untilMs.set(segment, untilMs);
    }
  }
}
