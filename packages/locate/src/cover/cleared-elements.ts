import type { TimeSpan } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type ElementKind, isGroupKind, type Silencer } from "./failure-element.ts";
import { type PathTrial, silencersAtListener, silencersAtSource, silencersByStep } from "./path-trial.ts";

interface Proof {
  /** Number of the group, size and source: at one place there is one proof of each. */
  readonly id: number;
  readonly groupKey: string;
  /** Number of the source's node. */
  readonly source: number;
  readonly clockMs: number;
  readonly payloadBytes: number;
  readonly isSourceSpecific: boolean;
  /** Times at which this group at this size came through; hardly ever more than one stretch. */
  readonly spans: TimeSpan[];
}

/** What good paths prove: a path is bad if and only if some element on it is, so a good path clears all of them. */
export class ClearedElements {
  readonly #site: SiteIndex;
  readonly #wanted: ReadonlySet<number>;
  /** By kind, then place. Group kinds are kept with their all-group kind: the proofs are the same. */
  readonly #proofs = new Map<ElementKind, Map<number, Proof[]>>();
  readonly #ids = new Map<string, number>();
  /** Ids from this one on are of the trial at hand. */
  #ofTrial = 0;

  /** @param wanted numbers of the nodes about which, and about the segments into which, questions will be asked */
  constructor(site: SiteIndex, trials: readonly PathTrial[], wanted: ReadonlySet<number>) {
    this.#site = site;
    this.#wanted = wanted;
    for (const trial of trials) this.#addTrial(trial);
  }

  /**
   * True when a path that the element would have silenced was good during the silence, with packets at least as large
   * as the silent trial's (a small packet says nothing about large ones) and, for the group kinds, of its group, for
   * `node-source` of its source and family, for `node-any-source` of its family: each has a rendezvous point and unicast
   * routes of its own. What is joined with its source is not cleared by what is joined without: that may come by the shared
   * tree, on which routers check the route to the rendezvous point (RFC 7761, section 4.2). Times of
   * two sources are by two clocks, so only what overlaps however these are off was during the silence.
   */
  isCleared(
    { kind, place }: Silencer,
    { groupKey, payloadBytes, tree, clockMs = 0, isSourceSpecific = false }: PathTrial,
    silence: TimeSpan,
  ): boolean {
    const isOfGroup = isGroupKind(kind);
    const isOfSource = kind === "node-source";
    const isOfFamily = kind === "node-any-source";
    const isProof = (proof: Proof): boolean =>
      proof.payloadBytes >= payloadBytes &&
      (!isOfGroup || proof.groupKey === groupKey) &&
      (!isOfSource || (proof.source === tree.source && (!isSourceSpecific || proof.isSourceSpecific))) &&
      (!(isOfFamily || isOfSource) || isIpv6(proof.groupKey) === isIpv6(groupKey)) &&
      isDuring(proof.spans, silence, proof.source === tree.source ? 0 : proof.clockMs + clockMs);
    if (kind !== "cable") return this.#proofsOf(kind, place).some(isProof);
    const back = this.#site.reverse[place] ?? -1;
    return this.#proofsOf("link", place).some(isProof) || this.#proofsOf("link", back).some(isProof);
  }

  /** Groups whose data came through a place at any time. */
  groupsThrough(kind: "link" | "node", place: number): string[] {
    return [...new Set(this.#proofsOf(kind, place).map((p) => p.groupKey))];
  }

  /** Largest payload that came through a segment at any time, null when nothing did. */
  largestGoodBytes(segment: number): number | null {
    const sizes = this.#proofsOf("link", segment).map((p) => p.payloadBytes);
    return sizes.length === 0 ? null : Math.max(...sizes);
  }

  #proofsOf(kind: ElementKind, place: number): readonly Proof[] {
    return this.#proofs.get(allGroupKind(kind))?.get(place) ?? [];
  }

  #addTrial(trial: PathTrial): void {
    this.#ofTrial = this.#ids.size;
    const { tree, outcomes } = trial;
    const spansBelow = new Map<number, readonly TimeSpan[]>();
    for (const { leaf, good } of outcomes) {
      if (good === null) continue;
      spansBelow.set(leaf, unitedSpans(spansBelow.get(leaf) ?? [], [good]));
      if (this.#wanted.has(leaf)) this.#add(trial, silencersAtListener(leaf), [good]);
    }
    const silencersOf = silencersByStep(this.#site, trial);
    for (let at = tree.order.length - 1; at > 0; at--) {
      const node = tree.order[at] as number;
      const spans = spansBelow.get(node);
      if (spans === undefined) continue;
      const parent = tree.parent[node] as number;
      spansBelow.set(parent, unitedSpans(spansBelow.get(parent) ?? [], spans));
      if (this.#wanted.has(node)) this.#add(trial, silencersOf(node), spans);
    }
    const atSource = spansBelow.get(tree.source);
    if (atSource !== undefined) this.#add(trial, silencersAtSource(this.#site, trial), atSource);
  }

  #add(
    { groupKey, payloadBytes, clockMs = 0, isSourceSpecific = false, tree: { source } }: PathTrial,
    silencers: readonly Silencer[],
    spans: readonly TimeSpan[],
  ): void {
    const id = this.#idOf(`${payloadBytes} ${source} ${groupKey}`);
    // What no trial before this one had can only be the newest proof of a place.
    const isNew = id >= this.#ofTrial;
    for (const { kind, place } of silencers) {
      if (kind === "cable" || kind === "node-source" || isGroupKind(kind)) continue;
      const proofs = this.#placeOf(kind, place);
      const newest = proofs.at(-1);
      const same = newest?.id === id ? newest : isNew ? undefined : proofs.find((proof) => proof.id === id);
      if (same === undefined)
        proofs.push({ id, groupKey, source, clockMs, payloadBytes, isSourceSpecific, spans: [...spans] });
      else same.spans.splice(0, same.spans.length, ...unitedSpans(same.spans, spans));
    }
  }

  #placeOf(kind: ElementKind, place: number): Proof[] {
    const ofKind = this.#proofs.get(kind) ?? new Map<number, Proof[]>();
    this.#proofs.set(kind, ofKind);
    const ofPlace = ofKind.get(place) ?? [];
    ofKind.set(place, ofPlace);
    return ofPlace;
  }

  /** A number for what makes two proofs at one place the same. */
  #idOf(key: string): number {
    const id = this.#ids.get(key) ?? this.#ids.size;
    this.#ids.set(key, id);
    return id;
  }
}

const isDuring = (spans: readonly TimeSpan[], silence: TimeSpan, offMs: number): boolean =>
  spans.some((span) => span.endMs - offMs > silence.startMs && span.startMs + offMs < silence.endMs);

const isIpv6 = (groupKey: string): boolean => groupKey.includes(":");

function allGroupKind(kind: ElementKind): ElementKind {
  switch (kind) {
    case "link-group":
      return "link";
    case "reports-group":
      return "reports";
    case "node-group":
    case "node-source":
      return "node";
    case "sender-group":
      return "sender";
    case "receiver-group":
      return "receiver";
    default:
      return kind;
  }
}

/** Overlapping spans made one; gaps between them stay, since nothing is proven for those times. */
function unitedSpans(known: readonly TimeSpan[], more: readonly TimeSpan[]): readonly TimeSpan[] {
  if (known.length === 0) return more;
  let united = known;
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
