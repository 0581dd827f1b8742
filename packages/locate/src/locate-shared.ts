import type { SiteGraph } from "@dyetrace/site";
import { FINDING_KINDS } from "@dyetrace/wire";
import { explanationConfidence } from "./cover/explanation-confidence.ts";
import { type ElementKind, placeNames } from "./cover/failure-element.ts";
import { smallestFailureSet } from "./cover/failure-set.ts";
import type { PathOutcome, PathTrial } from "./cover/path-trial.ts";
import { EQUAL_ROUTES_FACTOR } from "./equal-routes.ts";
import { routeCombinations } from "./route-choices.ts";
import { indexSite, type SiteIndex } from "./site/site-index.ts";
import { reaches, sourceTree } from "./site/source-tree.ts";

/** Whom something happened to, of the listeners of one stream at one time. All are hosts of the plan. */
export interface SharedTrial {
  readonly stream: string;
  readonly group: string;
  readonly source: string;
  /** True when listeners join (source, group). */
  readonly isSourceSpecific: boolean;
  readonly hit: readonly string[];
  /** Whom it surely did not happen to; whoever said nothing is in neither list. */
  readonly spared: readonly string[];
  /**
   * True where nothing at all came any more: then membership reports that are lost on their way back may be the cause.
   * False for what befalls some packets (loss, delay): reports have no part in that.
   */
  readonly isSilence: boolean;
}

/** One cause of what several listeners share. */
export interface SharedCause {
  /** Segment ids (`a:port>b:port`) and node names, most likely first; nothing that was given tells them apart. */
  readonly suspects: readonly string[];
  /** What the suspects would be at fault as, most likely first: all of a link or node, or one group in it. */
  readonly kinds: readonly ElementKind[];
  /** Streams and hosts that were hit by it. */
  readonly streams: readonly string[];
  readonly hosts: readonly string[];
  /** Probability that the true cause is among the suspects, 0 to 1. */
  readonly confidence: number;
}

/** Where one cause alone is as sure as it can be. As for silence at the end of a run, which is reasoned about the same way. */
const PLAIN_CONFIDENCE = FINDING_KINDS.stops.confidence;

/**
 * Where something lies that befell some listeners and spared others: the same smallest set of causes that `locate` names
 * for silence, for whoever knows whom something befell without a whole run's observations. Streams that are given together
 * are explained together: whoever a stream spared clears the places on the way for the others as well.
 * @returns for trials of about the same time, the fewest causes that explain them; those of most hosts first. None where
 *   nothing was hit, or no place fits.
 */
export function sharedCauses(graph: SiteGraph): (trials: readonly SharedTrial[]) => SharedCause[] {
  // A site is numbered once, however many incidents there are.
  const sites = new Map<string, SiteIndex>();
  const siteFor = (alternatives: SiteIndex["alternatives"]): SiteIndex => {
    const key = JSON.stringify([...alternatives]);
    const site = sites.get(key) ?? indexSite(graph, alternatives);
    sites.set(key, site);
    return site;
  };
  return (trials) => {
    const combinations = routeCombinations(
      graph,
      trials.map(({ source }) => source),
    );
    const answers = combinations.map((one) => causesOn(siteFor(one), trials));
    const fewest = Math.min(...answers.map((causes) => causes.length));
    const [first = [], ...others] = answers.filter((causes) => causes.length === fewest);
    return first.map((cause) => withOtherRoutes(cause, others)).sort((a, b) => b.hosts.length - a.hosts.length);
  };
}

/** All that was given is of one time. */
const THEN = { startMs: 0, endMs: 1 };

interface HostTrial extends PathTrial {
  readonly stream: string;
  readonly outcomes: readonly (PathOutcome & { readonly host: string })[];
}

function causesOn(site: SiteIndex, trials: readonly SharedTrial[]): SharedCause[] {
  const set = smallestFailureSet(
    site,
    trials.flatMap((trial) => hostTrial(site, trial) ?? []),
  );
  return set.failures.map((failure) => ({
    suspects: distinct(failure.elements.flatMap((element) => placeNames(site, element))),
    kinds: distinct(failure.elements.map(({ kind }) => kind)),
    streams: distinct(failure.pairs.map(({ trial }) => trial.stream)),
    hosts: distinct(failure.pairs.map(({ outcome }) => outcome.host)),
    confidence: Math.round(100 * explanationConfidence(PLAIN_CONFIDENCE, failure, set.isExact)) / 100,
  }));
}

/** Null where the plan does not know the source. Hosts that it does not connect to the source say nothing about it. */
function hostTrial(site: SiteIndex, trial: SharedTrial): HostTrial | null {
  const source = site.nodeNumber.get(trial.source);
  if (source === undefined) return null;
  const tree = sourceTree(site, source);
  const outcomesOf = (hosts: readonly string[], isGood: boolean): HostTrial["outcomes"] =>
    hosts.flatMap((host) => {
      const leaf = site.nodeNumber.get(host);
      if (leaf === undefined || leaf === source || !reaches(tree, leaf)) return [];
      return { host, leaf, good: isGood ? THEN : null, bad: isGood ? null : THEN, marginMs: 0 };
    });
  const outcomes = [...outcomesOf(trial.hit, false), ...outcomesOf(trial.spared, true)];
  return {
    stream: trial.stream,
    tree,
    groupKey: trial.isSourceSpecific ? `${trial.source}, ${trial.group}` : trial.group,
    isSourceSpecific: trial.isSourceSpecific,
    payloadBytes: 0,
    members: trial.isSilence ? new Set(outcomes.map(({ leaf }) => leaf)) : null,
    outcomes,
  };
}

/** On other routes that cost the same and explain it with as few causes, the places of the same hosts are suspect too. */
function withOtherRoutes(cause: SharedCause, others: readonly (readonly SharedCause[])[]): SharedCause {
  const isOfSame = ({ hosts }: SharedCause): boolean => hosts.some((host) => cause.hosts.includes(host));
  const suspects = distinct([cause, ...others.flat().filter(isOfSame)].flatMap((one) => one.suspects));
  if (suspects.length === cause.suspects.length) return cause;
  const confidence = Math.round(100 * EQUAL_ROUTES_FACTOR * cause.confidence) / 100;
  return { ...cause, suspects, confidence };
}

const distinct = <T>(items: readonly T[]): T[] => [...new Set(items)];
