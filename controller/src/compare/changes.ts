import type { SequenceRange } from "@dyetrace/measure";
import { alikeLosses } from "./alike-losses.ts";
import type { CauseFinder, ListenersCause } from "./cause-finder.ts";
import type { Comparison } from "./comparison.ts";
import type { ReceiptPair } from "./pooled/pair-receipts.ts";
import type { ListenerPair } from "./pooled/pool-streams.ts";

/** Comparisons of one kind and stream that went the same way, with the places that explain all of them together. */
export interface Change {
  readonly what: string;
  readonly stream: string | null;
  readonly outcome: "worse" | "better";
  readonly listeners: readonly string[];
  readonly places: readonly string[];
  /** Probability that the true cause is among the places; absent where they were not reasoned out from who was hit. */
  readonly confidence?: number;
  readonly because: string;
}

/** What both runs measured, by stream and of all streams of a listener together. */
export interface Compared {
  readonly pairs: readonly ReceiptPair[];
  readonly pools: readonly ListenerPair[];
}

/** That many things hardly change at once: of more, who was hit is told, and no place. Common practice, no source. */
const MOST_CAUSES = 3;

/** What went better or worse; one change for each place that explains a part of it. */
export function changesOf(
  comparisons: readonly Comparison[],
  { pairs, pools }: Compared,
  finder: CauseFinder,
): readonly Change[] {
  const groups = new Map<string, Comparison[]>();
  for (const comparison of comparisons) {
    if (comparison.outcome !== "worse" && comparison.outcome !== "better") continue;
    const own = comparison.what === "segment loss" ? comparison.places.join() : "";
    const key = `${comparison.what} ${comparison.stream} ${comparison.outcome} ${own}`;
    groups.set(key, [...(groups.get(key) ?? []), comparison]);
  }
  const changes = [...groups.values()].flatMap((group): Change[] => {
    const [first] = group;
    if (first === undefined || first.outcome === "same" || first.outcome === "cant-tell") return [];
    const listeners = group.flatMap(({ listener }) => listener ?? []);
    const told = [...new Set(group.flatMap(({ places }) => places))];
    const { what, stream, outcome, because } = first;
    const whole = { what, stream, outcome, because, listeners, places: told };
    const causes = told.length > 0 ? [] : causesOf(whole, comparisons, { pairs, pools }, finder);
    if (causes.length === 0 || causes.length > MOST_CAUSES) return [whole];
    return causes.map((cause) => {
      const own = group.find(({ listener }) => listener !== null && cause.listeners.includes(listener)) ?? first;
      return { what, stream, outcome, ...cause, because: own.because };
    });
  });
  return changes.filter((change) => !isToldWithAll(change, changes));
}

/** Several streams that went the same way at the same listeners are told once, as all of them. */
function isToldWithAll(change: Change, changes: readonly Change[]): boolean {
  const alike = changes.filter(
    ({ what, outcome, listeners }) =>
      what === change.what && outcome === change.outcome && listeners.join() === change.listeners.join(),
  );
  return change.stream !== null && alike.length > 2 && alike.some(({ stream }) => stream === null);
}

/** Listeners for which the same thing hardly moved are spared. */
function causesOf(
  change: Change,
  comparisons: readonly Comparison[],
  compared: Compared,
  finder: CauseFinder,
): ListenersCause[] {
  const { what, stream, listeners } = change;
  // Of all streams together: one that all of these listen to, whose way stands for that of the others.
  const way = stream ?? streamOfAll(listeners, compared.pairs);
  if (way === null || listeners.length === 0) return [];
  const spared = comparisons.flatMap((one) =>
    one.what === what && one.stream === stream && !one.isMaterial ? (one.listener ?? []) : [],
  );
  return alikeListeners(change, compared).flatMap((alike) => {
    const others = listeners.filter((listener) => !alike.includes(listener));
    return finder.find(way, alike, [...spared, ...others]);
  });
}

/** Of a loss, listeners that lost the same packets; of everything else, all together. */
function alikeListeners({ what, stream, outcome, listeners }: Change, { pairs, pools }: Compared): string[][] {
  if (what !== "loss") return [[...listeners]];
  const all = stream === null ? pools : pairs.filter((pair) => pair.stream === stream);
  const own = all.filter(({ listener }) => listeners.includes(listener));
  const losses = own.map(({ listener, before, after }) => {
    const { gaps } = outcome === "worse" ? after : before;
    return { listener, runs: gaps.map(({ firstSeq, count }): SequenceRange => [firstSeq, firstSeq + count - 1]) };
  });
  return alikeLosses(losses).map((alike) => alike.map(({ listener }) => listener));
}

/** @returns null where no stream has all of them as its listeners */
function streamOfAll(listeners: readonly string[], pairs: readonly ReceiptPair[]): string | null {
  const isOfAll = (stream: string): boolean =>
    listeners.every((listener) => pairs.some((pair) => pair.stream === stream && pair.listener === listener));
  return pairs.find(({ stream }) => isOfAll(stream))?.stream ?? null;
}
