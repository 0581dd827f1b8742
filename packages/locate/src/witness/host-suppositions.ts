import type { SiteGraph } from "@dyetrace/site";
import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { once } from "../run/once.ts";
import type { RunObservations } from "../run/run-observations.ts";
import { indexSite } from "../site/site-index.ts";
import { faultsNeeded } from "./faults-needed.ts";
import { leastFaultsFrom } from "./least-faults.ts";
import { mostTried } from "./most-tried.ts";
import { nodeAbove, placesFor, siteWithHostAt } from "./site-with-host-at.ts";
import { soleWitnesses } from "./sole-witnesses.ts";
import type { Accuse, Accused, HostSupposition, Supposition } from "./supposition.ts";
import { withoutWord } from "./without-word.ts";

/** What may be wrong about one host. */
type HostError = Pick<HostSupposition, "host" | "at" | "isSoleWitness">;

/** In place of one fault a source elsewhere is no likelier, and of several it would have to explain two at least. */
const LEAST_OF_SOURCE = 2;

/** Suppositions about one host that could make a difference to what is found. */
export interface Suppositions {
  readonly tried: readonly HostSupposition[];
  /** Hosts that alone show that some way is good, and without whose word it was not tried for want of time. */
  readonly untried: readonly string[];
}

export function hostSuppositions({ graph, run, found }: Supposition, accuse: Accuse): Suppositions {
  const { findings } = found;
  if (findings.length === 0) return { tried: [], untried: [] };
  const most = mostTried(graph, run);
  const words = wrongWords(found);
  const errors =
    most === 0 ? [] : [...words, ...elsewhereNearSightings(graph, run, findings), ...sourcesElsewhere(graph, found)];
  const tried = errors.slice(0, most).map((error) => {
    const { host, at } = error;
    const then = at === null ? { graph, run: withoutWord(run, host) } : { graph: siteWithHostAt(graph, host, at), run };
    return { ...error, ...then, found: accuse(then.graph, then.run) };
  });
  return { tried, untried: words.slice(most).flatMap((one) => (one.isSoleWitness ? [one.host] : [])) };
}

/** Who alone shows that a way is good, and who alone shows several faults. */
function wrongWords({ streams, findings }: Accused): HostError[] {
  const soles = soleWitnesses(streams, findings);
  const alone = findings.flatMap(({ witnesses = [] }) => (witnesses.length === 1 ? witnesses : []));
  const ofSeveral = new Set(alone.filter((host, at) => alone.indexOf(host) !== at && !soles.includes(host)));
  return [
    ...soles.map((host): HostError => ({ host, at: null, isSoleWitness: true })),
    ...[...ofSeveral].map((host): HostError => ({ host, at: null, isSoleWitness: false })),
  ];
}

/** Frames are rightly where a member sits, so whoever joined, and whoever saw them, may sit beside those who saw them. */
function elsewhereNearSightings(graph: SiteGraph, run: RunObservations, findings: readonly Finding[]): HostError[] {
  const errors = new Map<string, HostError>();
  for (const { kind, streams, witnesses = [] } of findings) {
    if (FINDING_KINDS[kind].glyph !== "seep") continue;
    const joined = run.listeners.filter(({ stream }) => streams.includes(stream)).map(({ host }) => host);
    const places = new Set(witnesses.flatMap((host) => nodeAbove(graph, host) ?? []));
    for (const host of [...witnesses, ...joined]) {
      const planned = nodeAbove(graph, host);
      for (const at of planned === null ? [] : places) {
        if (at !== planned) errors.set(`${host} ${at}`, { host, at, isSoleWitness: false });
      }
    }
  }
  return [...errors.values()];
}

/**
 * A source says by where it sits where its packets start, so its word cannot be left out: it is tried elsewhere, but only
 * where that could do with fewer faults.
 */
function sourcesElsewhere(graph: SiteGraph, { streams: facts, findings }: Accused): HostError[] {
  const needed = faultsNeeded(findings);
  const isConcerned = (own: readonly string[]): boolean =>
    faultsNeeded(findings.filter(({ streams }) => streams.some((stream) => own.includes(stream)))) >= LEAST_OF_SOURCE;
  const site = once(() => indexSite(graph));
  return [...new Set(facts.map(({ stream }) => stream.source))].flatMap((host) => {
    const own = facts.filter(({ stream }) => stream.source === host);
    if (!isConcerned(own.map(({ stream }) => stream.stream))) return [];
    const leastFaults = leastFaultsFrom(site(), own);
    return placesFor(graph, host)
      .filter((at) => leastFaults(site().nodeNumber.get(at) ?? -1) < needed)
      .map((at) => ({ host, at, isSoleWitness: false }));
  });
}
