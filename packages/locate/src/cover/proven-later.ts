import type { SourceTree } from "../site/source-tree.ts";
import type { StreamTrial } from "./stream-trials.ts";

/** Whether something that was sent after an instant came along a segment: by the number of the segment, ms of the run. */
export const isProvenLater = (trials: readonly StreamTrial[], segment: number, sinceMs: number): boolean =>
  trials.some(({ tree, clockMs = 0, outcomes }) =>
    outcomes.some(
      ({ leaf, good, marginMs }) =>
        good !== null && good.endMs > sinceMs + marginMs + clockMs && passesSegment(tree, leaf, segment),
    ),
  );

function passesSegment({ source, parent, into }: SourceTree, leaf: number, segment: number): boolean {
  for (let node = leaf; node !== source && node !== -1; node = parent[node] ?? -1) {
    if (into[node] === segment) return true;
  }
  return false;
}
