import type { PortRef, SiteGraph } from "../model/site-model.ts";
import type { Drawing, DrawnLink } from "./drawing.ts";

/**
 * The written plan with what the drawing would change in it: links of hosts that hang elsewhere get their new end, and what the plan
 * does not have is added at the end of its lists, each with a comment. Nothing is taken out, and comments and order stay. What
 * is open in the drawing changes nothing.
 */
export function updatePlan(text: string, graph: SiteGraph, drawing: Drawing): string {
  const lines = text.split("\n");
  const proposals: string[] = [];
  const nodeOf = planNames(graph, drawing);
  for (const link of drawing.links) {
    if (link.by === "open" || [link.a, link.b].some(({ node }) => isInvented(drawing, node))) continue;
    const moved = movedHost(graph, link, nodeOf);
    if (moved === null) continue;
    const at = lines.findIndex((line) => line.includes(portText(moved.from)) && line.includes(`${moved.host}:`));
    const line = lines[at];
    if (line === undefined) continue;
    lines[at] =
      `${line.replace(portText(moved.from), portText(moved.to))}  # was at ${portText(moved.from)}; ${link.because}`;
  }
  const added = drawing.nodes.filter(({ name, by }) => by === "seen" && nodeOf(name) === null);
  for (const { name, kind, because } of added) proposals.push(`# new: ${name} (${kind}): ${because}`);
  for (const question of drawing.questions) proposals.push(`# ? ${question}`);
  if (proposals.length === 0) return lines.join("\n");
  const end = lines.at(-1) === "" ? lines.slice(0, -1) : lines;
  return `${[...end, "# Proposed by `plan draw --update`:", ...proposals].join("\n")}\n`;
}

const portText = ({ node, port }: PortRef): string => `${node}:${port}`;

const isInvented = (drawing: Drawing, node: string): boolean =>
  drawing.nodes.some((one) => one.name === node && one.by !== "seen");

/** Hosts go by their agents, devices by their names. */
function planNames(graph: SiteGraph, drawing: Drawing): (drawn: string) => string | null {
  return (drawn) => {
    const agent = drawing.nodes.find(({ name }) => name === drawn)?.agent ?? null;
    const host = agent === null ? undefined : [...graph.nodes.values()].find((one) => one.agent === agent)?.name;
    return host ?? (graph.nodes.has(drawn) ? drawn : null);
  };
}

/** A host whose link the plan has at another node or port. */
function movedHost(
  graph: SiteGraph,
  { a, b }: DrawnLink,
  nodeOf: (drawn: string) => string | null,
): { readonly host: string; readonly from: PortRef; readonly to: PortRef } | null {
  const [near, far] = graph.nodes.get(nodeOf(b.node) ?? "")?.kind === "host" ? [b, a] : [a, b];
  const host = nodeOf(near.node);
  const at = nodeOf(far.node);
  const planned = host === null ? undefined : graph.outgoing.get(host)?.[0]?.to;
  if (host === null || at === null || planned === undefined || graph.nodes.get(host)?.kind !== "host") return null;
  if (planned.node === at && planned.port === far.port) return null;
  return { host, from: planned, to: { node: at, port: far.port } };
}
