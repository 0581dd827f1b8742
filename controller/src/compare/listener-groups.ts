import { pathBetween, type SiteGraph } from "@dyetrace/site";
import type { CauseFinder } from "./cause-finder.ts";
import type { ListenerGroup } from "./compare-delays.ts";
import type { ReceiptPair } from "./pooled/pair-receipts.ts";

/** For each stream, the sets of two or more of its listeners that some switch or other forwarder separates from the rest. */
export function listenerGroups(
  pairs: readonly ReceiptPair[],
  graph: SiteGraph,
  finder: CauseFinder,
): readonly ListenerGroup[] {
  return [...new Set(pairs.map((pair) => pair.stream))].flatMap((stream) => {
    const source = finder.sourceOf(stream);
    if (source === null) return [];
    const listeners = pairs.filter((pair) => pair.stream === stream).map((pair) => pair.listener);
    const behind = new Map<string, string[]>();
    for (const listener of listeners) {
      const path = pathBetween(graph, source, finder.hostOf(listener));
      for (const node of path?.nodes.slice(1, -1) ?? []) behind.set(node, [...(behind.get(node) ?? []), listener]);
    }
    const sets = new Map([...behind.values()].map((set) => [set.join(" "), set]));
    return [...sets.values()]
      .filter((set) => set.length > 1 && set.length < listeners.length)
      .map((set) => {
        const others = listeners.filter((listener) => !set.includes(listener));
        const causes = finder.find(stream, set, others);
        // More than one: nothing that can fail alone parts these from the rest.
        return { stream, listeners: set, places: causes.length === 1 ? (causes[0]?.places ?? []) : [] };
      });
  });
}
