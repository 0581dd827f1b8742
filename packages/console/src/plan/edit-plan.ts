import { type Document, isMap, isScalar, isSeq, parseDocument, type YAMLMap, type YAMLSeq } from "yaml";

/** A correction of a site plan, made by pointing. Nodes are named as the plan names them. */
export type PlanEdit =
  | { readonly kind: "rename"; readonly node: string; readonly to: string }
  /** Its one link leads to another node from now on. */
  | { readonly kind: "move"; readonly node: string; readonly to: string }
  /** Two are one: what hung at the second hangs at the first. */
  | { readonly kind: "join"; readonly node: string; readonly other: string }
  /** One is two: a new node of the same kind stands between it and some of its neighbours. */
  | { readonly kind: "split"; readonly node: string; readonly name: string; readonly neighbours: readonly string[] }
  | { readonly kind: "add"; readonly at: string; readonly name: string; readonly nodeKind: string }
  /** With its links. */
  | { readonly kind: "remove"; readonly node: string };

/**
 * Changes the text of a plan and leaves everything else in it as it was written, comments too.
 * @param text of a plan without mistakes
 * @returns the new text, or what speaks against it
 */
export function editPlan(text: string, edit: PlanEdit): { readonly text: string } | { readonly says: string } {
  const document = parseDocument(text);
  const plan = new PlanText(document);
  const says = apply(plan, edit);
  return says === null ? { text: document.toString({ lineWidth: 0, flowCollectionPadding: true }) } : { says };
}

/** @returns what speaks against it, or null */
function apply(plan: PlanText, edit: PlanEdit): string | null {
  switch (edit.kind) {
    case "rename":
      if (plan.has(edit.to)) return `There is a node ${edit.to} already.`;
      plan.rename(edit.node, edit.to);
      return null;
    case "move": {
      const [link, ...others] = plan.linksAt(edit.node);
      if (link === undefined || others.length > 0)
        return `${edit.node} has not one link, so it is not clear which to move.`;
      if (plan.neighbour(link, edit.node) === edit.to) return `${edit.node} hangs at ${edit.to} already.`;
      plan.leadTo(link, edit.node, edit.to);
      return null;
    }
    case "join":
      for (const link of plan.linksAt(edit.other)) {
        if (plan.neighbour(link, edit.other) === edit.node) plan.removeLink(link);
        else plan.leadTo(link, plan.neighbour(link, edit.other), edit.node);
      }
      plan.removeNode(edit.other);
      plan.renameQuerier(edit.other, edit.node);
      return null;
    case "split": {
      if (plan.has(edit.name)) return `There is a node ${edit.name} already.`;
      const moved = plan.linksAt(edit.node).filter((link) => edit.neighbours.includes(plan.neighbour(link, edit.node)));
      if (moved.length === 0) return "Choose what hangs at the new node.";
      plan.addNode(edit.name, plan.kindOf(edit.node));
      for (const link of moved) plan.leadTo(link, plan.neighbour(link, edit.node), edit.name);
      plan.addLink(edit.node, edit.name);
      return null;
    }
    case "add":
      if (plan.has(edit.name)) return `There is a node ${edit.name} already.`;
      plan.addNode(edit.name, edit.nodeKind);
      plan.addLink(edit.at, edit.name);
      return null;
    case "remove":
      for (const link of plan.linksAt(edit.node)) plan.removeLink(link);
      plan.removeNode(edit.node);
      return null;
  }
}

/** An entry under `links`: text, or a map with `between`. */
type Link = unknown;

class PlanText {
  readonly #document: Document;

  constructor(document: Document) {
    this.#document = document;
  }

  has(node: string): boolean {
    return this.#nodes.has(node);
  }

  kindOf(node: string): string {
    return String(this.#document.getIn(["nodes", node, "kind"]) ?? "switch");
  }

  /** In the order of the plan. */
  linksAt(node: string): readonly Link[] {
    return this.#links.items.filter((link) => endsOf(link).some((end) => nodeOf(end) === node));
  }

  neighbour(link: Link, node: string): string {
    const [a, b] = endsOf(link).map(nodeOf);
    return (a === node ? b : a) ?? "";
  }

  /** The end of a link that is not at `from` is at `to` from now on, on a port that is free there. */
  leadTo(link: Link, from: string, to: string): void {
    const port = `${to}:${this.#freePort(to)}`;
    this.#setEnds(link, (end, index, ends) => {
      const isFrom = nodeOf(end) === from && (index === 0 || nodeOf(ends[0] ?? "") !== from);
      return isFrom ? end : port;
    });
  }

  removeLink(link: Link): void {
    this.#links.items.splice(this.#links.items.indexOf(link), 1);
  }

  removeNode(node: string): void {
    this.#nodes.delete(node);
  }

  addNode(name: string, kind: string): void {
    const node = this.#document.createNode({ kind });
    node.flow = true;
    this.#nodes.set(this.#document.createNode(name), node);
  }

  addLink(a: string, b: string): void {
    this.#links.add(this.#document.createNode(`${a}:${this.#freePort(a)} -- ${b}:${this.#freePort(b)}`));
  }

  /** An agent keeps its name: it is the program's own, and the host's file has it. */
  rename(node: string, to: string): void {
    const pair = this.#nodes.items.find(({ key }) => nameOf(key) === node);
    if (pair === undefined) return;
    if (this.kindOf(node) === "host" && !this.#document.hasIn(["nodes", node, "agent"])) {
      this.#document.setIn(["nodes", node, "agent"], node);
    }
    if (isScalar(pair.key)) pair.key.value = to;
    for (const link of this.#links.items) {
      this.#setEnds(link, (end) => (nodeOf(end) === node ? `${to}${end.slice(end.indexOf(":"))}` : end));
    }
    this.renameQuerier(node, to);
  }

  renameQuerier(node: string, to: string): void {
    const vlans = this.#document.get("vlans");
    if (!isMap(vlans)) return;
    for (const { value } of vlans.items) if (isMap(value) && value.get("querier") === node) value.set("querier", to);
  }

  #freePort(node: string): string {
    const used = new Set(
      this.#links.items
        .flatMap(endsOf)
        .flatMap((end) => (nodeOf(end) === node ? [end.slice(end.indexOf(":") + 1)] : [])),
    );
    const [prefix, first] = this.kindOf(node) === "host" ? ["eth", 0] : ["", 1];
    for (let number = first; ; number++) if (!used.has(`${prefix}${number}`)) return `${prefix}${number}`;
  }

  #setEnds(link: Link, change: (end: string, index: number, ends: readonly string[]) => string): void {
    const ends = endsOf(link);
    const next = ends.map(change);
    if (isScalar(link)) link.value = next.join(" -- ");
    else if (isMap(link)) {
      const between = link.get("between");
      if (isSeq(between)) for (const [index, end] of next.entries()) between.set(index, end);
    }
  }

  get #nodes(): YAMLMap {
    return this.#document.get("nodes") as YAMLMap;
  }

  get #links(): YAMLSeq {
    return this.#document.get("links") as YAMLSeq;
  }
}

const nodeOf = (end: string): string => end.slice(0, Math.max(0, end.indexOf(":")));
const nameOf = (key: unknown): string => String(isScalar(key) ? key.value : key);

function endsOf(link: Link): readonly string[] {
  if (isScalar(link)) return String(link.value).split(/\s+--\s+/);
  const between = isMap(link) ? link.get("between") : null;
  return isSeq(between) ? between.items.map((item) => String(isScalar(item) ? item.value : item)) : [];
}
