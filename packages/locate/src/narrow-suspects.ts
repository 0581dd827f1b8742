import type { SiteGraph } from "@dyetrace/site";
import { type Narrowed, narrow, type ProbedFinding } from "./probe/narrow.ts";
import { routeCombinations } from "./route-choices.ts";
import type { RunObservations } from "./run/run-observations.ts";
import { indexSite } from "./site/site-index.ts";

/**
 * What a finding and the probe that was made for it say together: its suspects, fewer or as many. Where routes are equal,
 * a suspect stays unless every choice of routes rules it out.
 */
export function narrowSuspects(graph: SiteGraph, first: ProbedFinding, probe: RunObservations): Narrowed {
  const sources = [...first.silent, ...probe.streams].map(({ source }) => source);
  const answers = routeCombinations(graph, sources).map((one) => narrow(indexSite(graph, one), first, probe));
  const decided = answers.filter(({ outcome }) => outcome === "narrowed" || outcome === "not-parted");
  const [answer = answers[0], ...others] = decided;
  if (answer === undefined) throw new RangeError("A site has one combination of routes at least");
  if (others.length === 0) return answer;
  const isLeft = (name: string): boolean => decided.some(({ suspects }) => suspects.includes(name));
  const suspects = first.suspects.filter(isLeft);
  return {
    ...answer,
    outcome: suspects.length < first.suspects.length ? "narrowed" : "not-parted",
    suspects,
    elements: [...new Set(decided.flatMap(({ elements }) => elements))],
    isOneFault: decided.every(({ isOneFault }) => isOneFault),
  };
}
