import { planPlace } from "@dyetrace/site";
import { nameList } from "../finding/wording.ts";
import { nodesDownTo } from "../site/source-tree.ts";
import type { StopCase } from "./stop-case.ts";

/**
 * Why the suspects beyond the first can't be split.
 * @param suspects those that the finding names, which may be fewer than the silence alone would give
 */
export function inseparable(stop: StopCase, suspects: readonly string[]): string[] {
  const reasons: string[] = [];
  const isNamed = (name: string): boolean => suspects.includes(name);
  const forward = crossedByAll(stop, suspects);
  if (forward.length > 1) {
    reasons.push(`What is silent here crosses ${nameList(forward)} alike, so no listener tells these apart.`);
  }
  const isHost = (name: string): boolean => stop.site.graph.nodes.get(name)?.kind === "host";
  const nodes = inPlan(stop.nodes.filter((name) => isNamed(name) && !isHost(name)));
  if (nodes.length > 0 && forward.length > 0) {
    reasons.push(
      `${nameList(nodes)} would silence the same listeners as a link beside it; a source there would tell them apart.`,
    );
  }
  const hosts = stop.nodes.filter((name) => isNamed(name) && isHost(name));
  if (hosts.length > 0) reasons.push(`A fault of ${nameList(hosts)} itself would look the same.`);
  const reports = inPlan(stop.reportSegments.map(({ id }) => id).filter(isNamed));
  if (reports.length > 0) {
    reasons.push(
      `Membership reports travel the other way, on ${nameList(reports)}: if they are lost there, the port before it forgets the group, which looks the same.`,
    );
  }
  if (stop.failure.otherExplanations > 0 && stop.suspects.every(isNamed)) {
    reasons.push("Another set of as many faults explains the same silence; its members stand last among the suspects.");
  }
  return reasons;
}

/** A trunk and one VLAN on it are said once. */
const inPlan = (places: readonly string[]): string[] => [...new Set(places.map(planPlace))];

/** The links among the suspects that are on the way to every silent listener. */
function crossedByAll({ site, segments, silentPairs }: StopCase, suspects: readonly string[]): string[] {
  const ways = silentPairs.map(({ trial: { facts }, receipt }) => {
    const numbers = nodesDownTo(facts.tree, receipt.node).map((node) => facts.tree.into[node] ?? -1);
    return new Set(numbers.map((number) => planPlace(site.segments[number]?.id ?? "")));
  });
  const named = segments.map(({ id }) => id).filter((id) => suspects.includes(id));
  return inPlan(named).filter((id) => ways.every((way) => way.has(id)));
}
