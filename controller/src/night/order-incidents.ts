import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { counted, type IncidentFacts, incidentFacts, listed } from "./incident-facts.ts";
import type { LossCauses } from "./loss-causes.ts";

/** Packets that came more than once, or out of their order. */
type OrderKind = "duplicates" | "reordered";

export const isOrderKind = (kind: string): kind is OrderKind => kind === "duplicates" || kind === "reordered";

const WORDS: Readonly<Record<OrderKind, string>> = {
  duplicates: "came more than once to",
  reordered: "came out of their order to",
};

/**
 * Copies and reordering of one time, one incident for each place that makes them for some listeners and not for others.
 * @param all of the same kind: whoever had some at that time is no witness for the way of others
 */
export function orderIncidents(
  kind: OrderKind,
  members: readonly Episode[],
  all: readonly Episode[],
  run: CompiledRun,
  graph: SiteGraph,
  causes: LossCauses,
): ReportIncident[] {
  const { fromNs, toNs, base } = incidentFacts(members, run);
  const others = new Set(all.flatMap((one) => (one.fromNs <= toNs && one.toNs >= fromNs ? one.agent : [])));
  const stream = run.streams.find(({ name }) => base.streams.includes(name));
  const places = stream === undefined ? [] : causes.placesOf(stream, base.agents, others, fromNs, toNs);
  const isOf = (hosts: readonly string[]) => (one: Episode) =>
    hosts.includes(hostOfAgent(graph, one.agent) ?? one.agent);
  const parts = places.flatMap(({ hosts, suspects, confidence }) => {
    const own = members.filter(isOf(hosts));
    return own.length === 0 ? [] : [{ own, suspects: [...suspects], confidence }];
  });
  const told = new Set(parts.flatMap(({ own }) => own));
  const rest = members.filter((one) => !told.has(one));
  return [
    ...parts.map(({ own, suspects, confidence }) => {
      const facts = incidentFacts(own, run);
      return {
        kind,
        ...facts.base,
        suspects,
        confidence,
        title: `${titleOf(kind, facts)}, by way of ${listed(suspects)}`,
      };
    }),
    ...(rest.length === 0 ? [] : [untold(kind, incidentFacts(rest, run))]),
  ];
}

const untold = (kind: OrderKind, facts: IncidentFacts): ReportIncident => ({
  ...{ kind, ...facts.base, suspects: [], title: titleOf(kind, facts) },
});

const titleOf = (kind: OrderKind, { base, who, lasted }: IncidentFacts): string =>
  `${counted(base.count, "packet")} of ${listed(base.streams)} ${WORDS[kind]} ${who} within ${lasted}`;
