import type { PortRef, SiteGraph } from "../model/site-model.ts";
import type { Drawing, DrawnLink, DrawnNode } from "./drawing.ts";
import { portText } from "./port-text.ts";

export interface NewInDrawing {
  /** Seen, not in the plan, and linked to something. */
  readonly nodes: readonly DrawnNode[];
  /** With the plan's names where it has the node. */
  readonly links: readonly DrawnLink[];
  /** What was seen and has no place in the plan, as half sentences. */
  readonly open: readonly string[];
}

/**
 * What a drawing has and a plan has not. Links that rest on something invented are left out, as are those of hosts that the plan has
 * elsewhere: they move, and are not new.
 * @param nodeOf the plan's name of a drawn node; null where the plan has none
 */
export function newInDrawing(
  graph: SiteGraph,
  drawing: Drawing,
  nodeOf: (drawn: string) => string | null,
): NewInDrawing {
  const byName = new Map(drawing.nodes.map((node) => [node.name, node]));
  const isSeen = ({ node }: PortRef): boolean => nodeOf(node) !== null || byName.get(node)?.by === "seen";
  const renamed = ({ node, port }: PortRef): PortRef => ({ node: nodeOf(node) ?? node, port });
  const planned = new Map<string, string>();
  for (const { from, to } of graph.segments.values()) planned.set(portText(from), portText(to));
  const areLinked = (a: string, b: string): boolean => (graph.outgoing.get(a) ?? []).some(({ to }) => to.node === b);
  const links: DrawnLink[] = [];
  const open: string[] = [];
  for (const link of drawing.links) {
    if (link.by === "open" || !isSeen(link.a) || !isSeen(link.b)) continue;
    const [a, b] = [renamed(link.a), renamed(link.b)];
    const ends = [a, b];
    if (ends.every(({ node }) => graph.nodes.has(node)) && areLinked(a.node, b.node)) continue;
    // A host of the plan has its one link there, and is moved.
    if (
      ends.some(({ node }) => graph.nodes.get(node)?.kind === "host" && (graph.outgoing.get(node)?.length ?? 0) > 0)
    ) {
      continue;
    }
    const taken = ends.find((end) => planned.has(portText(end)));
    if (taken === undefined) links.push({ ...link, a, b });
    else {
      open.push(
        `? ${portText(a)} -- ${portText(b)}: ${link.because}; the plan has ${planned.get(portText(taken))} at ${portText(taken)}`,
      );
    }
  }
  const linked = new Set(links.flatMap(({ a, b }) => [a.node, b.node]));
  const fresh = drawing.nodes.filter(({ name, by }) => by === "seen" && nodeOf(name) === null);
  const alone = fresh.filter(({ name }) => !linked.has(name));
  return {
    nodes: fresh.filter(({ name }) => linked.has(name)),
    links,
    open: [...open, ...alone.map(({ name, kind, because }) => `new: ${name} (${kind}): ${because}`)],
  };
}
