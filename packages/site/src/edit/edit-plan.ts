import { parseRateBps } from "@dyetrace/wire";
import type { PlanEdit } from "@dyetrace/wire/console/plan-edit";
import { withoutQuestion } from "./drawn-comments.ts";
import { endsOf, type Link, nodeOf, PlanText, portOf } from "./plan-text.ts";

/**
 * Changes the text of a plan and leaves everything else in it as it was written: order, comments, spaces. What comes of it may have
 * mistakes; whoever reads the plan tells them.
 * @param text of a plan; names in it may be wrong
 * @returns the new text, or what speaks against it
 */
export function editPlan(text: string, edit: PlanEdit): { readonly text: string } | { readonly says: string } {
  if (edit.kind === "answer") return { text: withoutQuestion(text, edit.question) };
  const plan = new PlanText(text);
  if (!plan.isPlan) return { says: "The text is no plan at present: correct it as text first." };
  const says = apply(plan, edit);
  return says === null ? { text: plan.toString() } : { says };
}

type StructuralEdit = Exclude<PlanEdit, { kind: "answer" }>;

/** @returns what speaks against it, or null */
function apply(plan: PlanText, edit: StructuralEdit): string | null {
  const unknown = namesIn(edit).find((name) => !plan.has(name));
  if (unknown !== undefined) return `There is no node ${unknown}.`;
  switch (edit.kind) {
    case "rename":
      if (plan.has(edit.to)) return `There is a node ${edit.to} already.`;
      plan.rename(edit.node, edit.to);
      return null;
    case "retype":
      if (plan.kindOf(edit.node) !== edit.to) plan.retype(edit.node, edit.to);
      return null;
    case "move":
      return move(plan, edit);
    case "join":
      return join(plan, edit.node, edit.other);
    case "split":
      return split(plan, edit);
    case "add":
      if (plan.has(edit.name)) return `There is a node ${edit.name} already.`;
      if (isFullHost(plan, edit.at)) return `${edit.at} is a host with a link: nothing else hangs at it.`;
      plan.addNode(edit.name, edit.nodeKind);
      plan.addLink(edit.at, edit.name);
      return null;
    case "link":
      if (edit.a === edit.b) return `A link from ${edit.a} back to itself is none.`;
      plan.addLink(edit.a, edit.b);
      return null;
    case "remove":
      for (const link of plan.linksAt(edit.node)) plan.removeLink(link);
      plan.removeNode(edit.node);
      return null;
    case "unlink": {
      const link = plan.links[edit.link];
      if (link === undefined) return "This link is no longer in the plan.";
      plan.removeLink(link);
      return null;
    }
    case "describe":
      return describe(plan, edit);
  }
}

/** Nodes that an edit needs to be there. */
function namesIn(edit: StructuralEdit): readonly string[] {
  switch (edit.kind) {
    case "rename":
    case "retype":
    case "remove":
      return [edit.node];
    case "move":
      return [edit.node, edit.to];
    case "join":
      return [edit.node, edit.other];
    case "split":
      return [edit.node, ...edit.neighbours];
    case "add":
      return [edit.at];
    case "link":
      return [edit.a, edit.b];
    case "unlink":
    case "describe":
      return [];
  }
}

function move(plan: PlanText, { node, from, to, port }: Extract<PlanEdit, { kind: "move" }>): string | null {
  if (node === to) return `${node} cannot hang at itself.`;
  if (isFullHost(plan, to)) return `${to} is a host with a link: nothing else hangs at it.`;
  const links = plan.linksAt(node).filter((one) => from === undefined || plan.neighbour(one, node) === from);
  const [link] = links;
  if (link === undefined) return `${node} has no link${from === undefined ? "" : ` to ${from}`}.`;
  if (links.length > 1) return `${node} has ${links.length} links: say which one is to lead elsewhere.`;
  const at = farEnd(link, node);
  if (nodeOf(at) === to && (port === undefined || portOf(at) === port)) return `${node} hangs at ${to} already.`;
  plan.leadTo(link, node, to, port);
  return null;
}

const isFullHost = (plan: PlanText, node: string): boolean =>
  plan.kindOf(node) === "host" && plan.linksAt(node).length > 0;

const farEnd = (link: Link, node: string): string => endsOf(link).find((end) => nodeOf(end) !== node) ?? "";

function join(plan: PlanText, node: string, other: string): string | null {
  if (node === other) return `${node} is one node already.`;
  const isHost = plan.kindOf(node) === "host";
  for (const link of plan.linksAt(other)) {
    const neighbour = plan.neighbour(link, other);
    // A host has one link: it stays where it is.
    if (neighbour === node || isHost) plan.removeLink(link);
    else plan.leadTo(link, neighbour, node, undefined, true);
  }
  plan.removeNode(other);
  plan.renameQuerier(other, node);
  return null;
}

function split(plan: PlanText, { node, name, neighbours }: Extract<PlanEdit, { kind: "split" }>): string | null {
  if (plan.has(name)) return `There is a node ${name} already.`;
  const moved = plan.linksAt(node).filter((link) => neighbours.includes(plan.neighbour(link, node)));
  if (moved.length === 0) return "Choose what hangs at the new node.";
  plan.addNode(name, plan.kindOf(node));
  for (const link of moved) plan.leadTo(link, plan.neighbour(link, node), name, undefined, true);
  plan.addLink(node, name);
  return null;
}

function describe(plan: PlanText, edit: Extract<PlanEdit, { kind: "describe" }>): string | null {
  const link = plan.links[edit.link];
  if (link === undefined) return "This link is no longer in the plan.";
  const speed = edit.speed?.trim() ?? "";
  if (speed !== "" && !isSpeed(speed)) return `"${speed}" is no speed. Write one such as 1 Gbit/s, or nothing.`;
  const [only, ...more] = edit.vlans ?? [];
  const vlan = only === undefined ? null : more.length === 0 ? only : edit.vlans;
  const ends = endsOf(link);
  const next = ends.map((end, index) => `${nodeOf(end)}:${edit.ports[index] ?? portOf(end)}`);
  plan.describe(link, next, { speed: speed === "" ? null : speed, vlan, blocked: edit.isBlocked ? true : null });
  return null;
}

function isSpeed(text: string): boolean {
  try {
    return parseRateBps(text) > 0;
  } catch {
    return false;
  }
}
