import type { QuerierAudit } from "@dyetrace/locate";
import { membershipTimers, type QuerierSeen } from "@dyetrace/measure";
import type { SiteGraph } from "@dyetrace/site";
import { formatDurationNs, type ReportQuerier, type ReportQuerierAudit } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";

/**
 * Every querier that anybody heard and that was not gone already as the run began: one entry for an address, family and
 * version. Times are those of its queries, which may lie before the run.
 */
export function reportQueriers({ agents }: RunAccount): ReportQuerier[] {
  const found = new Map<string, ReportQuerier>();
  for (const { agent, heard } of agents.values()) {
    const view = heard?.view;
    for (const querier of view?.queriers ?? []) {
      if (querier.queries === 0 || querier.isOwn || isOfThePast(querier)) continue;
      const elected = querier.family === 4 ? view?.ipv4.electedQuerier : view?.ipv6.electedQuerier;
      const key = `${querier.address} ${querier.version}`;
      found.set(key, join(found.get(key), querier, agent, querier.address === elected));
    }
  }
  return [...found.values()];
}

/** Silent for so long at the run's start that another had to take over (RFC 3376, section 8.5). */
const isOfThePast = (querier: QuerierSeen): boolean =>
  (querier.generalQueryMs.at(-1) ?? 0) < -membershipTimers(querier).otherQuerierPresentMs;

function join(known: ReportQuerier | undefined, seen: QuerierSeen, agent: string, isElected: boolean): ReportQuerier {
  const { address, family, version, queries, generalQueryMs, intervalSeenMs, intervalAdvertisedMs } = seen;
  const [firstMs, lastMs] = [generalQueryMs[0] ?? seen.firstMs, generalQueryMs.at(-1) ?? seen.lastMs];
  return {
    address,
    family,
    version,
    heardBy: [...new Set([...(known?.heardBy ?? []), agent])],
    queries: Math.max(known?.queries ?? 0, queries),
    firstMs: Math.min(known?.firstMs ?? firstMs, firstMs),
    lastMs: Math.max(known?.lastMs ?? lastMs, lastMs),
    intervalSeenMs: known?.intervalSeenMs ?? intervalSeenMs,
    intervalAdvertisedMs: known?.intervalAdvertisedMs ?? intervalAdvertisedMs,
    isElected: (known?.isElected ?? false) || isElected,
  };
}

/** Who was to ask and who did, hosts by the names of their agents. */
export function reportQuerierAudit(audits: readonly QuerierAudit[], graph: SiteGraph): ReportQuerierAudit[] {
  const agentOf = (host: string): string => graph.nodes.get(host)?.agent ?? host;
  return audits.map(({ heard, elections, ...audit }) => ({
    ...audit,
    heard: heard.map(({ heardBy, unheardBy, sender, ...one }) => ({
      ...one,
      heardBy: heardBy.map(agentOf),
      unheardBy: unheardBy.map(agentOf),
      sender: sender === null ? null : agentOf(sender),
    })),
    elections: elections.map((one) => ({ ...one, heardBy: one.heardBy.map(agentOf) })),
  }));
}

/** A sentence for each family in which one host heard more than one querier, such as when one takes over. */
export function querierNotes(queriers: readonly ReportQuerier[]): string[] {
  return ([4, 6] as const).flatMap((family) => {
    const all = queriers.filter((querier) => querier.family === family);
    const several = all
      .filter((one) => all.some((other) => other !== one && one.heardBy.some((host) => other.heardBy.includes(host))))
      .sort((a, b) => a.firstMs - b.firstMs);
    if (several.length < 2) return [];
    const told = several.map(
      (one) =>
        `${one.address} in ${nameOf(one)}${one.isElected ? " (elected)" : ""}, first query ${instant(one.firstMs)}, last ${instant(one.lastMs)}`,
    );
    return [
      `${several.length} IPv${family} queriers were heard: ${told.join("; ")}. The lowest address stays (RFC 3376, section 6.6.2; RFC 3810, section 7.6.2).`,
    ];
  });
}

const nameOf = ({ family, version }: ReportQuerier): string => `${family === 4 ? "IGMP" : "MLD"}v${version}`;

/** "12.3 s into the run", "4 s before it began". */
const instant = (ms: number): string =>
  ms < 0 ? `${formatDurationNs(-ms * 1e6)} before the run began` : `${formatDurationNs(ms * 1e6)} into the run`;
