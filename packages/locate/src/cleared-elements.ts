import type { ElementKind } from "./failure-element.ts";
import type { PathTrial } from "./path-trial.ts";
import type { TimeSpan } from "./run-observations.ts";
import type { SiteIndex } from "./site-index.ts";

interface Proof {
  readonly groupKey: string;
  readonly payloadBytes: number;
  /** Times at which this group at this size came through; hardly ever more than one stretch. */
  readonly spans: TimeSpan[];
}

/** What good paths prove: a path is bad if and only if some element on it is, so a good path clears all of them. */
export class ClearedElements {
  readonly #site: SiteIndex;
  readonly #segments: Proof[][];
  readonly #nodes: Proof[][];
  readonly #senders: Proof[][];
  readonly #receivers: Proof[][];

  constructor(site: SiteIndex, trials: readonly PathTrial[]) {
    this.#site = site;
    this.#segments = site.segments.map(() => []);
    this.#nodes = site.nodes.map(() => []);
    this.#senders = site.nodes.map(() => []);
    this.#receivers = site.nodes.map(() => []);
    for (const trial of trials) this.#addTrial(trial);
  }

  /**
   * True when a path through this place was good during the silence, with packets at least as large as `payloadBytes`
   * (a small packet says nothing about large ones) and, for the group kinds, of that group.
   */
  isCleared(kind: ElementKind, place: number, groupKey: string, payloadBytes: number, silence: TimeSpan): boolean {
    const holds = (proofs: readonly Proof[] | undefined, group: string | null): boolean =>
      proofs?.some(
        (proof) =>
          proof.payloadBytes >= payloadBytes &&
          (group === null || proof.groupKey === group) &&
          proof.spans.some((span) => span.endMs > silence.startMs && span.startMs < silence.endMs),
      ) ?? false;
    switch (kind) {
      case "link":
        return holds(this.#segments[place], null);
      case "cable":
        return holds(this.#segments[place], null) || holds(this.#segments[this.#site.reverse[place] ?? -1], null);
      case "node":
        return holds(this.#nodes[place], null);
      case "sender":
        return holds(this.#senders[place], null);
      case "receiver":
        return holds(this.#receivers[place], null);
      case "link-group":
        return holds(this.#segments[place], groupKey);
      case "node-group":
        return holds(this.#nodes[place], groupKey);
      case "sender-group":
        return holds(this.#senders[place], groupKey);
      case "receiver-group":
        return holds(this.#receivers[place], groupKey);
    }
  }

  /** Groups that came through a segment or a node at any time. */
  groupsThrough(kind: "segment" | "node", place: number): string[] {
    const proofs = (kind === "segment" ? this.#segments : this.#nodes)[place] ?? [];
    return [...new Set(proofs.map((p) => p.groupKey))];
  }

  /** Largest payload that came through a segment at any time, null when nothing did. */
  largestGoodBytes(segment: number): number | null {
    const sizes = (this.#segments[segment] ?? []).map((p) => p.payloadBytes);
    return sizes.length === 0 ? null : Math.max(...sizes);
  }

  #addTrial({ tree, groupKey, payloadBytes, outcomes }: PathTrial): void {
    const spansBelow = new Map<number, TimeSpan[]>();
    const add = (proofs: Proof[] | undefined, spans: readonly TimeSpan[]): void =>
      addProof(proofs, groupKey, payloadBytes, spans);
    for (const { leaf, good } of outcomes) {
      if (good === null) continue;
      spansBelow.set(leaf, unitedSpans(spansBelow.get(leaf) ?? [], [good]));
      add(this.#receivers[leaf], [good]);
    }
    for (let at = tree.order.length - 1; at > 0; at--) {
      const node = tree.order[at] as number;
      const spans = spansBelow.get(node);
      if (spans === undefined) continue;
      const parent = tree.parent[node] as number;
      spansBelow.set(parent, unitedSpans(spansBelow.get(parent) ?? [], spans));
      add(this.#segments[tree.into[node] as number], spans);
      add(this.#nodes[node], spans);
    }
    const atSource = spansBelow.get(tree.source);
    if (atSource === undefined) return;
    add(this.#senders[tree.source], atSource);
    if (this.#site.nodes[tree.source]?.kind !== "host") add(this.#nodes[tree.source], atSource);
  }
}

function addProof(
  proofs: Proof[] | undefined,
  groupKey: string,
  payloadBytes: number,
  spans: readonly TimeSpan[],
): void {
  const same = proofs?.find((p) => p.groupKey === groupKey && p.payloadBytes === payloadBytes);
  if (same === undefined) proofs?.push({ groupKey, payloadBytes, spans: [...spans] });
  else same.spans.splice(0, same.spans.length, ...unitedSpans(same.spans, spans));
}

/** Overlapping spans made one; gaps between them stay, since nothing is proven for those times. */
function unitedSpans(known: readonly TimeSpan[], more: readonly TimeSpan[]): TimeSpan[] {
  let united = [...known];
  for (const span of more) {
    const touching = united.filter((other) => other.startMs <= span.endMs && other.endMs >= span.startMs);
    if (touching.length === 1 && touching[0]?.startMs === span.startMs && touching[0].endMs === span.endMs) continue;
    const merged = {
      startMs: Math.min(span.startMs, ...touching.map((other) => other.startMs)),
      endMs: Math.max(span.endMs, ...touching.map((other) => other.endMs)),
    };
    united = [...united.filter((other) => !touching.includes(other)), merged];
  }
  return united;
}
