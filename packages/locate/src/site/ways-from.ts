import { detours, type SiteGraph, type SourceWays, sourceWays } from "@dyetrace/site";

/** The ways from one source, numbered as in `SiteIndex.alternatives`: first those of the plan, then the others. */
export interface NumberedWays {
  readonly planned: readonly SourceWays[];
  /** Of the plan's ways those that cost least: not by a router that may be designated for a subnet and has a dearer route. */
  readonly cheapest: readonly SourceWays[];
  /** By routes that cost more in the plan; looked for when they are asked for. */
  readonly others: () => readonly SourceWays[];
}

const KNOWN = new WeakMap<SiteGraph, Map<string, NumberedWays>>();

/** @param graph unfolded */
export function waysFrom(graph: SiteGraph, source: string): NumberedWays {
  const ofGraph = KNOWN.get(graph) ?? new Map<string, NumberedWays>();
  KNOWN.set(graph, ofGraph);
  const known = ofGraph.get(source) ?? numberWays(graph, source);
  ofGraph.set(source, known);
  return known;
}

function numberWays(graph: SiteGraph, source: string): NumberedWays {
  let others: readonly SourceWays[] | null = null;
  return {
    planned: sourceWays(graph, source),
    cheapest: sourceWays(graph, source, { isDesignatedLeftOut: true }),
    others: () => {
      others ??= detours(graph, source);
      return others;
    },
  };
}

/** The ways of that number; the plan's first where there is none. */
export function waysByNumber(graph: SiteGraph, source: string, number: number): SourceWays | undefined {
  const { planned, others } = waysFrom(graph, source);
  return planned[number] ?? (number < planned.length ? undefined : others()[number - planned.length]) ?? planned[0];
}

/** True where the number stands for ways that the plan's costs do not give. */
export const isOtherWay = (graph: SiteGraph, source: string, number: number): boolean =>
  number > 0 && number >= waysFrom(graph, source).planned.length;

/** Names of the routers that packets pass on the way to a node; null where the ways do not lead there. */
export function routersTo(graph: SiteGraph, ways: SourceWays, source: string, node: string): string[] | null {
  if (!ways.has(node)) return null;
  const routers: string[] = [];
  for (let into = ways.get(node); into !== undefined; into = ways.get(into.from.node)) {
    const { node: from } = into.from;
    if (from !== source && graph.nodes.get(from)?.kind === "router") routers.unshift(from);
  }
  return routers;
}
