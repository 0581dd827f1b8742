import type { NamedFailure } from "../cover/failure-set.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { nodesDownTo } from "../site/source-tree.ts";

/** A router that fails one source. */
export interface FailedSource {
  readonly source: string;
  /** Streams of other sources that came through the router. */
  readonly passingOthers: readonly string[];
  /** Streams of the same source that did: joined without a source where the failing ones are joined with it, or of the other family. */
  readonly passingOwn: readonly string[];
  /** All that fails is joined with its source. */
  readonly areJoinedWithSource: boolean;
}

/** Null where the failure may be anything but a router's that fails one source. */
export function failedSourceOf(
  { elements }: NamedFailure,
  facts: readonly StreamFacts[],
  trials: readonly StreamTrial[],
): FailedSource | null {
  const [first] = elements;
  const source = facts[0]?.stream.source;
  if (first === undefined || source === undefined || elements.some(({ kind }) => kind !== "node-source")) return null;
  const silent = new Set(facts);
  const passing = trials.filter(
    (trial) =>
      !silent.has(trial.facts) &&
      trial.outcomes.some(({ good, leaf }) => good !== null && nodesDownTo(trial.tree, leaf).includes(first.place)),
  );
  const namesOf = (isOwn: boolean): string[] => [
    ...new Set(
      passing.flatMap(({ facts: { stream } }) => ((stream.source === source) === isOwn ? [stream.stream] : [])),
    ),
  ];
  return {
    source,
    passingOthers: namesOf(false),
    passingOwn: namesOf(true),
    areJoinedWithSource: facts.every(({ stream }) => stream.ssm),
  };
}
