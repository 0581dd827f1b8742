import type { ElementKind } from "./failure-element.ts";
import type { PathTrial } from "./path-trial.ts";
import type { SiteIndex } from "./site-index.ts";

interface Proof {
  readonly groupKey: string;
  readonly payloadBytes: number;
  /** Latest instant at which this group at this size came through. */
  untilMs: number;
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
   * True when a path through this place was still good after `sinceMs`, with packets at least as large as
   * `payloadBytes` (a small packet says nothing about large ones) and, for the group kinds, of that group.
   */
  isCleared(kind: ElementKind, place: number, groupKey: string, payloadBytes: number, sinceMs: number): boolean {
    const holds = (proofs: readonly Proof[] | undefined, group: string | null): boolean =>
      proofs?.some(
        (p) => p.untilMs > sinceMs && p.payloadBytes >= payloadBytes && (group === null || p.groupKey === group),
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

  #addTrial(trial: PathTrial): void {
    const { tree, groupKey, payloadBytes } = trial;
    const until = new Float64Array(this.#site.nodes.length).fill(Number.NEGATIVE_INFINITY);
    for (const outcome of trial.outcomes) {
      if (!outcome.isGood) continue;
      until[outcome.leaf] = Math.max(until[outcome.leaf] ?? 0, outcome.atMs);
      addProof(this.#receivers[outcome.leaf], groupKey, payloadBytes, outcome.atMs);
    }
    for (let at = tree.order.length - 1; at > 0; at--) {
      const node = tree.order[at] as number;
      const untilMs = until[node] as number;
      if (untilMs === Number.NEGATIVE_INFINITY) continue;
      const parent = tree.parent[node] as number;
      until[parent] = Math.max(until[parent] as number, untilMs);
      addProof(this.#segments[tree.into[node] as number], groupKey, payloadBytes, untilMs);
      addProof(this.#nodes[node], groupKey, payloadBytes, untilMs);
    }
    const atSource = until[tree.source] as number;
    if (atSource === Number.NEGATIVE_INFINITY) return;
    addProof(this.#senders[tree.source], groupKey, payloadBytes, atSource);
    if (this.#site.nodes[tree.source]?.kind !== "host") {
      addProof(this.#nodes[tree.source], groupKey, payloadBytes, atSource);
    }
  }
}

function addProof(proofs: Proof[] | undefined, groupKey: string, payloadBytes: number, untilMs: number): void {
  const same = proofs?.find((p) => p.groupKey === groupKey && p.payloadBytes === payloadBytes);
  if (same === undefined) proofs?.push({ groupKey, payloadBytes, untilMs });
  else same.untilMs = Math.max(same.untilMs, untilMs);
}
