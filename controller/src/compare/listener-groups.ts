import { hostOfAgent, pathBetween, type SiteGraph } from "@dyetrace/site";
import type { ListenerGroup } from "./compare-delays.ts";
import type { ReceiptPair } from "./pair-receipts.ts";
import { sharedPlaces } from "./shared-places.ts";

/**
 * For each stream, the sets of two or more of its listeners that some switch or other forwarder separates from the rest.
 * @param sourceOf the source's agent of a stream
 */
export function listenerGroups(
  pairs: readonly ReceiptPair[],
  graph: SiteGraph,
  sourceOf: (stream: string) => string | null,
): readonly ListenerGroup[] {
  return [...new Set(pairs.map((pair) => pair.stream))].flatMap((stream) => {
    const source = sourceOf(stream);
    if (source === null) return [];
    const listeners = pairs.filter((pair) => pair.stream === stream).map((pair) => pair.listener);
    const behind = new Map<string, string[]>();
    for (const listener of listeners) {
      const path = pathBetween(graph, hostOfAgent(graph, source) ?? source, hostOfAgent(graph, listener) ?? listener);
      for (const node of path?.nodes.slice(1, -1) ?? []) behind.set(node, [...(behind.get(node) ?? []), listener]);
    }
    const sets = new Map([...behind.values()].map((set) => [set.join(" "), set]));
    return [...sets.values()]
      .filter((set) => set.length > 1 && set.length < listeners.length)
      .map((set) => {
        const others = listeners.filter((listener) => !set.includes(listener));
        return { stream, listeners: set, places: sharedPlaces(graph, source, set, others) };
      });
  });
}
