import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";

export interface NeighbourGroup {
  readonly neighbour: string;
  /** Sorted. */
  readonly names: readonly string[];
}

const WITHOUT_LINK = "no link on the plan";

/** Agents by the node that their host hangs on, those with the most first. Pure. */
export function byNeighbour(agents: readonly string[], { nodes, links }: PlanDrawing): readonly NeighbourGroup[] {
  const nodeOf = new Map(nodes.flatMap(({ agent, name }) => (agent === null ? [] : [[agent, name] as const])));
  const groups = new Map<string, string[]>();
  for (const agent of agents) {
    const node = nodeOf.get(agent);
    const link = links.find(({ a, b }) => a.node === node || b.node === node);
    const neighbour = link === undefined ? WITHOUT_LINK : link.a.node === node ? link.b.node : link.a.node;
    const known = groups.get(neighbour);
    if (known === undefined) groups.set(neighbour, [agent]);
    else known.push(agent);
  }
  return [...groups]
    .map(([neighbour, names]) => ({ neighbour, names: names.sort() }))
    .sort((one, other) => other.names.length - one.names.length || one.neighbour.localeCompare(other.neighbour));
}
