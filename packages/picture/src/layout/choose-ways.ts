import { type SiteGraph, type SourceWays, unfoldedNames } from "@dyetrace/site";

/** What a run tells of the ways that its packets took. */
export interface WayEvidence {
  /** Segments that a good path has shown to work. */
  readonly cleared: readonly string[];
  readonly suspects: readonly string[];
  /** Hosts that got something of the stream, and joined ones that got nothing. */
  readonly reached: readonly string[];
  readonly silent: readonly string[];
}

export const NO_EVIDENCE: WayEvidence = { cleared: [], suspects: [], reached: [], silent: [] };

/**
 * Of ways that cost the same, those that the run allows: with most of the segments that were shown to work, and then with
 * the fewest places at which the stream would have to end. Drawn is the one of them with most of the suspects. Pure.
 * @param alternatives of one source, as `sourceWays` gives them
 */
export function chooseWays(
  graph: SiteGraph,
  alternatives: readonly SourceWays[],
  evidence: WayEvidence,
): { readonly possible: readonly SourceWays[]; readonly drawn: SourceWays } {
  const cleared = new Set(evidence.cleared);
  const suspects = new Set(evidence.suspects.flatMap((place) => unfoldedNames(graph, place)));
  const having = (places: ReadonlySet<string>, ways: SourceWays): number => {
    let count = 0;
    for (const { id } of ways.values()) if (places.has(id)) count++;
    return count;
  };
  const working = greatest(alternatives, (ways) => having(cleared, ways));
  const possible = greatest(working, (ways) => -endsOf(ways, evidence));
  const [drawn = new Map()] = greatest(possible, (ways) => having(suspects, ways));
  return { possible, drawn };
}

function greatest<T>(all: readonly T[], rank: (one: T) => number): readonly T[] {
  const ranked = all.map((one) => ({ one, rank: rank(one) }));
  const most = Math.max(...ranked.map((each) => each.rank));
  return ranked.flatMap((each) => (each.rank === most ? [each.one] : []));
}

/** How many channels would have to end that others above them still come through. */
function endsOf(ways: SourceWays, { reached, silent }: WayEvidence): number {
  const wet = new Set<string>();
  for (const host of reached) {
    for (let at: string | undefined = host; at !== undefined && !wet.has(at); at = ways.get(at)?.from.node) wet.add(at);
  }
  const ends = new Set<string>();
  for (const host of silent) {
    let end = host;
    for (let at = ways.get(host)?.from.node; at !== undefined && !wet.has(at); at = ways.get(at)?.from.node) end = at;
    ends.add(end);
  }
  return ends.size;
}
