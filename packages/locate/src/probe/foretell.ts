import { keyOf } from "../cover/explaining-elements.ts";
import { type ElementKind, isOnNode, type Silencer } from "../cover/failure-element.ts";
import { silencersOfTrials } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import type { SuspectElement } from "../finding/finding.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { reaches, sourceTree } from "../site/source-tree.ts";
import type { ProbeStream } from "./probe.ts";

/**
 * Whether an element at fault would silence a host. Perhaps: where of several routers on a subnet one answers for its
 * members, and the plan does not say for certain which.
 */
export type Silenced = "no" | "perhaps" | "yes";

/** What a probe would show at one host if one of the elements were at fault. */
export interface Foretold {
  readonly leaf: number;
  /** By the element's place in the list. */
  readonly silenced: readonly Silenced[];
}

/** The stream as the rules of silence take it: who would be silent follows from tree, group and members alone. */
export function trialOf(site: SiteIndex, stream: ProbeStream): PathTrial | null {
  const source = site.nodeNumber.get(stream.source);
  if (source === undefined) return null;
  const tree = sourceTree(site, source);
  const members = new Set(
    stream.listeners.flatMap((host) => {
      const node = site.nodeNumber.get(host);
      return node === undefined || node === source || !reaches(tree, node) ? [] : [node];
    }),
  );
  const groupKey = stream.isSourceSpecific ? `${stream.source}, ${stream.group}` : stream.group;
  const { isSourceSpecific, payloadBytes } = stream;
  return { tree, groupKey, isSourceSpecific, payloadBytes, members, outcomes: [] };
}

/**
 * Whom each element would silence in a trial.
 * @returns for a host of the trial's tree, by the element's place in the list
 */
export function silencing(
  site: SiteIndex,
  elements: readonly SuspectElement[],
): (trial: PathTrial, leaf: number) => Silenced[] {
  const silencersOf = silencersOfTrials(site);
  // On the way itself, without the routers beside it that may have to answer for a subnet.
  const sureSilencersOf = site.hasRouters ? silencersOfTrials({ ...site, hasRouters: false }) : silencersOf;
  const keys = elements.map((element) => keyOfElement(site, element));
  const keysOf = (silencers: readonly Silencer[]): ReadonlySet<string> =>
    new Set(silencers.map(({ kind, place }) => placeKey(site, kind, place)));
  return (trial, leaf) => {
    const sure = keysOf(sureSilencersOf(trial, leaf));
    const any = site.hasRouters ? keysOf(silencersOf(trial, leaf)) : sure;
    return elements.map(({ kind, of }, at) => {
      const key = keys[at] ?? null;
      if (key === null || !any.has(key) || (of !== null && of !== keyOf(site, kind, trial))) return "no";
      return sure.has(key) ? "yes" : "perhaps";
    });
  };
}

/** Of every host that the stream can reach. */
export function foretell(site: SiteIndex, stream: ProbeStream, elements: readonly SuspectElement[]): Foretold[] {
  const trial = trialOf(site, stream);
  if (trial === null) return [];
  const silencedAt = silencing(site, elements);
  return [...(trial.members ?? [])].map((leaf) => ({ leaf, silenced: silencedAt(trial, leaf) }));
}

/** Null for a place that the plan does not have. */
function keyOfElement(site: SiteIndex, { place, kind }: SuspectElement): string | null {
  const number = (isOnNode(kind) ? site.nodeNumber : site.segmentNumber).get(place);
  return number === undefined ? null : placeKey(site, kind, number);
}

/** Both directions of a cable fail together. */
function placeKey(site: SiteIndex, kind: ElementKind, place: number): string {
  return `${kind} ${kind === "cable" ? Math.min(place, site.reverse[place] ?? place) : place}`;
}
