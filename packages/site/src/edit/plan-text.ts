import {
  type Document,
  isCollection,
  isMap,
  isScalar,
  isSeq,
  type Pair,
  type ParsedNode,
  parseDocument,
  type Scalar,
  type YAMLMap,
  type YAMLSeq,
} from "yaml";
import { correctedByHand, type Rests, restsOf } from "./drawn-comments.ts";
import { keepLines } from "./keep-lines.ts";

/** An entry under `links`: text, or a map with `between`. */
export type Link = ParsedNode | Scalar | YAMLMap;

const TO_STRING = { lineWidth: 0, flowCollectionPadding: true } as const;

/** The text of a plan as a document whose parts can be changed, and what nobody changes stays as it was written. */
export class PlanText {
  readonly #original: string;
  readonly #before: string;
  readonly #document: Document;

  /** @param text of a plan that can be read; its names may be wrong */
  constructor(text: string) {
    this.#original = text;
    this.#document = parseDocument(text);
    this.#before = this.#document.toString(TO_STRING);
  }

  /** Whether there are nodes and links at all. */
  get isPlan(): boolean {
    const { errors } = this.#document;
    return errors.length === 0 && isMap(this.#document.get("nodes")) && isSeq(this.#document.get("links"));
  }

  toString(): string {
    const after = this.#document.toString(TO_STRING);
    const kept = keepLines(this.#original, this.#before, after);
    // What was put together by lines has to be what the document says: otherwise the library's own writing is.
    return kept !== null && isAlike(kept, after) ? kept : after;
  }

  has(node: string): boolean {
    return this.#nodes.has(node);
  }

  kindOf(node: string): string {
    return String(this.#document.getIn(["nodes", node, "kind"]) ?? "switch");
  }

  get links(): readonly Link[] {
    return this.#links.items as Link[];
  }

  /** In the order of the plan. */
  linksAt(node: string): readonly Link[] {
    return this.links.filter((link) => endsOf(link).some((end) => nodeOf(end) === node));
  }

  neighbour(link: Link, node: string): string {
    const [a, b] = endsOf(link).map(nodeOf);
    return (a === node ? b : a) ?? "";
  }

  /** On what nodes and links of a drawn plan rest; links by their place in the list. */
  rests(): { readonly nodes: ReadonlyMap<string, Rests>; readonly links: readonly (Rests | null)[] } {
    const nodes = this.#nodes.items.flatMap(({ key, value }) => {
      const rests = restsOf(commentOf(value));
      return rests === null ? [] : [[nameOf(key), rests] as const];
    });
    return { nodes: new Map(nodes), links: this.links.map((link) => restsOf(commentOf(link))) };
  }

  /** The end of a link that is not at `from` is at `to` from now on. @param port absent: its old one if it may stay and is free, else the first free */
  leadTo(link: Link, from: string, to: string, port?: string, mayKeep = false): void {
    const far = endsOf(link).find((end) => nodeOf(end) !== from) ?? "";
    const old = portOf(far);
    const next = port ?? (mayKeep && !this.#usedPorts(to).has(old) ? old : this.#freePort(to));
    this.setEnds(link, (end) => (end === far ? `${to}:${next}` : end), far);
  }

  /** @param was what a drawn plan had there */
  setEnds(link: Link, change: (end: string, index: number) => string, was: string | null = null): void {
    const next = endsOf(link).map(change);
    if (isScalar(link)) link.value = next.join(" -- ");
    else if (isMap(link)) {
      const between = link.get("between");
      if (isSeq(between)) for (const [index, end] of next.entries()) between.set(index, end);
    }
    if (was !== null) this.#byHand(link, was);
  }

  /** Its ends and the keys beside them; null takes a key out. */
  describe(link: Link, ends: readonly string[], keys: Readonly<Record<string, unknown>>): void {
    const was = endsOf(link);
    const known = isMap(link) ? link.toJSON() : {};
    const changed = Object.entries(keys).filter(([key, value]) => !isSame(known[key] ?? null, value));
    if (changed.length === 0 && was.join() === ends.join()) return;
    this.setEnds(link, (_, index) => ends[index] ?? "", was.join(" to "));
    if (changed.length === 0) return;
    const map = isMap(link) ? link : this.#asMap(link);
    for (const [key, value] of changed) {
      if (value === null) map.delete(key);
      else map.set(key, Array.isArray(value) ? this.#flow(value) : value);
    }
  }

  removeLink(link: Link): void {
    this.#removeItem(this.#links, this.#links.items.indexOf(link));
  }

  removeNode(node: string): void {
    const at = this.#nodes.items.findIndex(({ key }) => nameOf(key) === node);
    this.#removeItem(this.#nodes, at);
  }

  addNode(name: string, kind: string): void {
    this.#nodes.set(this.#document.createNode(name), this.#flow({ kind }));
  }

  addLink(a: string, b: string): void {
    this.#links.add(this.#document.createNode(`${a}:${this.#freePort(a)} -- ${b}:${this.#freePort(b)}`));
  }

  /** An agent keeps its name: it is the program's own, and the host's file has it. */
  rename(node: string, to: string): void {
    const pair = this.#pairOf(node);
    if (pair === undefined) return;
    if (this.kindOf(node) === "host" && !this.#document.hasIn(["nodes", node, "agent"])) {
      this.#document.setIn(["nodes", node, "agent"], node);
    } else if (this.#document.getIn(["nodes", node, "agent"]) === to) {
      this.#document.deleteIn(["nodes", node, "agent"]);
    }
    if (isScalar(pair.key)) pair.key.value = to;
    for (const link of this.links) {
      if (!endsOf(link).some((end) => nodeOf(end) === node)) continue;
      this.setEnds(link, (end) => (nodeOf(end) === node ? `${to}${end.slice(end.indexOf(":"))}` : end));
    }
    this.renameQuerier(node, to);
  }

  /** What only another kind of node may have goes. */
  retype(node: string, kind: string): void {
    const was = this.kindOf(node);
    this.#document.setIn(["nodes", node, "kind"], kind);
    for (const key of kind === "host" ? ["querier", "management", "announces"] : ["agent"]) {
      this.#document.deleteIn(["nodes", node, key]);
    }
    const value = this.#pairOf(node)?.value;
    if (isMap(value)) this.#byHand(value, was);
  }

  renameQuerier(node: string, to: string): void {
    const vlans = this.#document.get("vlans");
    if (!isMap(vlans)) return;
    for (const { value } of vlans.items) if (isMap(value) && value.get("querier") === node) value.set("querier", to);
  }

  #byHand(of: Link, was: string): void {
    const comment = correctedByHand(of.comment, was);
    if (comment !== null) of.comment = comment;
  }

  #asMap(link: Link): YAMLMap {
    const map = this.#flow({}) as YAMLMap;
    map.set("between", this.#flow(endsOf(link)));
    if (link.comment !== undefined) map.comment = link.comment ?? null;
    if (link.commentBefore !== undefined) map.commentBefore = link.commentBefore ?? null;
    if (link.spaceBefore !== undefined) map.spaceBefore = link.spaceBefore;
    this.#links.items[this.#links.items.indexOf(link)] = map;
    return map;
  }

  #flow(value: unknown): unknown {
    const node = this.#document.createNode(value);
    if (isCollection(node)) node.flow = true;
    return node;
  }

  /** A comment on lines of its own stays: it may be about what follows. */
  #removeItem(of: YAMLMap | YAMLSeq, at: number): void {
    const item = of.items[at];
    if (item === undefined) return;
    const above = commentAbove(item);
    of.items.splice(at, 1);
    if (above === null) return;
    const next = of.items[at];
    if (next === undefined) of.comment = joined(above, of.comment);
    else setCommentAbove(next, joined(above, commentAbove(next)));
  }

  #pairOf(node: string): Pair | undefined {
    return this.#nodes.items.find(({ key }) => nameOf(key) === node);
  }

  #usedPorts(node: string): ReadonlySet<string> {
    return new Set(this.links.flatMap(endsOf).flatMap((end) => (nodeOf(end) === node ? [portOf(end)] : [])));
  }

  #freePort(node: string): string {
    const used = this.#usedPorts(node);
    const [prefix, first] = this.kindOf(node) === "host" ? ["eth", 0] : ["", 1];
    for (let number = first; ; number++) if (!used.has(`${prefix}${number}`)) return `${prefix}${number}`;
  }

  get #nodes(): YAMLMap {
    return this.#document.get("nodes") as YAMLMap;
  }

  get #links(): YAMLSeq {
    return this.#document.get("links") as YAMLSeq;
  }
}

export const nodeOf = (end: string): string => end.slice(0, Math.max(0, end.indexOf(":")));
export const portOf = (end: string): string => end.slice(end.indexOf(":") + 1);

/** As written: `node:port`, two of them where nothing is wrong. */
export function endsOf(link: Link): readonly string[] {
  if (isScalar(link)) return String(link.value).split(/\s+--\s+/);
  const between = isMap(link) ? link.get("between") : null;
  return isSeq(between) ? between.items.map((item) => String(isScalar(item) ? item.value : item)) : [];
}

const nameOf = (key: unknown): string => String(isScalar(key) ? key.value : key);

const commentOf = (value: unknown): string | null =>
  isScalar(value) || isCollection(value) ? (value.comment ?? null) : null;

type Commented = { commentBefore?: string | null | undefined };
const asCommented = (item: unknown): Commented | null => {
  const of = typeof item === "object" && item !== null && "key" in item ? item.key : item;
  return isScalar(of) || isCollection(of) ? of : null;
};
const commentAbove = (item: unknown): string | null => asCommented(item)?.commentBefore ?? null;
function setCommentAbove(item: unknown, comment: string): void {
  const of = asCommented(item);
  if (of !== null) of.commentBefore = comment;
}
const joined = (first: string, second: string | null | undefined): string =>
  second === null || second === undefined ? first : `${first}\n${second}`;

const isSame = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);
const isAlike = (a: string, b: string): boolean => isSame(parseDocument(a).toJS(), parseDocument(b).toJS());
