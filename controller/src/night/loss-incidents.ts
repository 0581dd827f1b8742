import type { ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import { type IncidentFacts, incidentFacts, listed } from "./incident-facts.ts";
import type { LossCause, LossCauses } from "./loss-causes.ts";
import { TOGETHER_NS } from "./together.ts";

/** That many things hardly go wrong at one time: of more, what was hit is told, and no place. Common practice, no source. */
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
  return partsOf(members, causes.of(members)).map(({ cause, episodes }) => {
    const facts = incidentFacts(episodes, run);
    if (cause === null) return { kind: "loss", ...facts.base, suspects: [], title: whatWasLost(facts) };
    const suspects = [...cause.suspects];
    const title = `${whatWasLost(facts)}, by way of ${listed(suspects)}`;
    return { kind: "loss", ...facts.base, suspects, confidence: cause.confidence, title };
  });
}

const whatWasLost = ({ base: { streams, count }, who, lasted }: IncidentFacts): string =>
  `${listed(streams)} ${count > 0 ? `lost ${count} packets` : "fell silent"} at ${who} within ${lasted}`;

interface Part {
  /** Null: nobody can say where. */
  readonly cause: LossCause | null;
  readonly episodes: readonly Episode[];
}

/** Each episode with the first cause that explains it; what is left comes last. */
function partsOf(members: readonly Episode[], causes: readonly LossCause[]): Part[] {
  if (causes.length > MOST_CAUSES) return [{ cause: null, episodes: members }];
  let left = members;
  const parts: Part[] = [];
  for (const cause of causes) {
    const episodes = left.filter((one) => cause.isOf(one));
    if (episodes.length > 0) parts.push({ cause, episodes });
    left = left.filter((one) => !cause.isOf(one));
  }
  return left.length === 0 ? parts : [...parts, { cause: null, episodes: left }];
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
