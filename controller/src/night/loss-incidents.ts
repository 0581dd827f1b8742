import { greatestOf, leastOf, type ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import { type IncidentFacts, incidentFacts, listed } from "./incident-facts.ts";
import type { ExplainedLosses, LossCause, LossCauses } from "./loss-causes.ts";
import { TOGETHER_NS } from "./together.ts";

/** That many things hardly go wrong at one instant: of more, what was hit is told, and no place. Common practice, no source. */
const MOST_CAUSES = 3;

/**
 * Losses of one time as incidents: one for each place that explains a part of them; one without a place where none does.
 * @param outages when sources themselves were out of work
 */
export function lossIncidents(
  members: readonly Episode[],
  run: CompiledRun,
  outages: readonly Episode[],
  causes: LossCauses,
): ReportIncident[] {
  const whole = incidentFacts(members, run);
  const absent = absentSource(whole, run, outages);
  if (absent !== null) {
    const title = `${whatWasLost(whole)}, while its source ${absent} was not at work`;
    return [{ kind: "source", ...whole.base, suspects: [], title }];
  }
  return partsOf(causes.of(members)).map(({ cause, episodes }) => {
    const facts = incidentFacts(episodes, run);
    return atPlace(cause, facts, whatWasLost(facts));
  });
}

/** A loss whose place is told where it is known. */
export function atPlace(cause: LossCause | null, { base }: IncidentFacts, what: string): ReportIncident {
  if (cause === null) return { kind: "loss", ...base, suspects: [], title: what };
  const suspects = [...cause.suspects];
  const title = `${what}, by way of ${listed(suspects)}`;
  return { kind: "loss", ...base, suspects, confidence: cause.confidence, title };
}

const whatWasLost = ({ base: { streams, count }, who, lasted }: IncidentFacts): string =>
  `${listed(streams)} ${count > 0 ? `lost ${count} packets` : "fell silent"} at ${who} within ${lasted}`;

export interface LossPart {
  /** Null: nobody can say where. */
  readonly cause: LossCause | null;
  readonly episodes: readonly Episode[];
}

/** Each episode with the first cause that explains it; what is left comes last. */
export function partsOf({ episodes, causes }: ExplainedLosses): LossPart[] {
  let left = episodes;
  const parts: LossPart[] = [];
  for (const cause of causes) {
    const own = left.filter((one) => cause.isOf(one));
    if (own.length > 0) parts.push({ cause, episodes: own });
    left = left.filter((one) => !cause.isOf(one));
  }
  const unknown = left.length === 0 ? [] : [{ cause: null, episodes: left }];
  return mostAtOnce(parts) > MOST_CAUSES ? [{ cause: null, episodes }] : [...parts, ...unknown];
}

/** Parts that were under way at the same instant. */
function mostAtOnce(parts: readonly LossPart[]): number {
  const changes = parts
    .flatMap(({ episodes }) => [
      { atNs: leastOf(episodes.map(({ fromNs }) => fromNs)), by: 1 },
      { atNs: greatestOf(episodes.map(({ toNs }) => toNs)), by: -1 },
    ])
    .toSorted((a, b) => a.atNs - b.atNs || a.by - b.by);
  let now = 0;
  return greatestOf(changes.map(({ by }) => (now += by)));
}

/** @returns the agent whose absence explains that its stream did not come, or null */
function absentSource(
  { base, fromNs, toNs }: IncidentFacts,
  run: CompiledRun,
  outages: readonly Episode[],
): string | null {
  const sources = new Set(run.streams.filter(({ name }) => base.streams.includes(name)).map(({ source }) => source));
  const explains = outages.find(
    (outage) => sources.has(outage.agent) && outage.fromNs <= toNs + TOGETHER_NS && outage.toNs >= fromNs - TOGETHER_NS,
  );
  return explains?.agent ?? null;
}
