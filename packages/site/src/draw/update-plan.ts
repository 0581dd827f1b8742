import { Fault } from "@dyetrace/wire";
import type { PortRef, SiteGraph } from "../model/site-model.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import type { Drawing, DrawnLink } from "./drawing.ts";
import { insertEntries } from "./insert-entries.ts";
import { newInDrawing } from "./new-in-drawing.ts";
import { portText } from "./port-text.ts";
import { linkLine, nodeLine } from "./write-plan.ts";

/**
 * The written plan with what the drawing would change in it: links of hosts that hang elsewhere get their new end, and hosts, devices
 * and links that the plan does not have are added at the end of its lists, each with a comment on what it rests. Nothing is taken
 * out, and comments and order stay. What is open in the drawing, or would not fit into the plan, is a comment at the end.
 */
export function updatePlan(text: string, graph: SiteGraph, drawing: Drawing): string {
  const lines = text.split("\n");
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
  const { nodes, links, open } = newInDrawing(graph, drawing, nodeOf);
  const added = withEntries(lines.join("\n"), [
    { key: "nodes", entries: nodes.map(nodeLine) },
    { key: "links", entries: links.map(linkLine) },
  ]);
  const comments = [...added.left, ...open, ...drawing.questions.map((question) => `? ${question}`)];
  if (comments.length === 0) return added.text;
  const body = added.text.replace(/\n+$/, "");
  return `${[body, "# Proposed by `plan draw --update`:", ...comments.map((line) => `# ${line.trim()}`)].join("\n")}\n`;
}

interface Addition {
  readonly key: string;
  readonly entries: readonly string[];
}

/** Each entry that the plan still loads with is put into its list; the others are left for comments. */
function withEntries(
  text: string,
  additions: readonly Addition[],
): { readonly text: string; readonly left: readonly string[] } {
  const whole = additions.reduce((before, { key, entries }) => insertEntries(before, key, entries) ?? before, text);
  const isWhole = additions.every(({ key, entries }) => insertEntries(text, key, entries) !== null);
  if (isWhole && doesLoad(whole)) return { text: whole, left: [] };
  const left: string[] = [];
  let kept = text;
  for (const { key, entries } of additions) {
    for (const entry of entries) {
      const tried = insertEntries(kept, key, [entry]);
      if (tried === null || !doesLoad(tried)) left.push(`new in ${key}: ${entry.trim()}`);
      else kept = tried;
    }
  }
  return { text: kept, left };
}

function doesLoad(text: string): boolean {
  try {
    loadSitePlan(text, "updated.yaml");
    return true;
  } catch (error) {
    if (error instanceof Fault) return false;
    throw error;
  }
}

const isInvented = (drawing: Drawing, node: string): boolean =>
  drawing.nodes.some((one) => one.name === node && one.by !== "seen");

/** Hosts go by their agents, devices by the address that the plan manages them at, or by their names. */
function planNames(graph: SiteGraph, drawing: Drawing): (drawn: string) => string | null {
  const planned = [...graph.nodes.values()];
  return (drawn) => {
    const { agent = null, management = null } = drawing.nodes.find(({ name }) => name === drawn) ?? {};
    const host = agent === null ? undefined : planned.find((one) => one.agent === agent)?.name;
    const device = management === null ? undefined : planned.find((one) => one.management === management)?.name;
    return host ?? device ?? (graph.nodes.has(drawn) ? drawn : null);
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
