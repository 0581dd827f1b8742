import type { QuerierSeen } from "@dyetrace/measure";
import type { ReportQuerier } from "@dyetrace/wire";
import type { RunEvidence } from "../engine/conduct-run.ts";
import { heardMembership } from "../engine/watch-evidence.ts";

/** Every querier that anybody heard: one entry for an address, family and version. */
export function reportQueriers(evidence: RunEvidence): ReportQuerier[] {
  const found = new Map<string, ReportQuerier>();
  for (const [agent, one] of evidence.agents) {
    const view = heardMembership(one)?.view;
    for (const querier of view?.queriers ?? []) {
      if (querier.queries === 0 || querier.isOwn) continue;
      const elected = querier.family === 4 ? view?.ipv4.electedQuerier : view?.ipv6.electedQuerier;
      const key = `${querier.address} ${querier.version}`;
      found.set(key, join(found.get(key), querier, agent, querier.address === elected));
    }
  }
  return [...found.values()];
}

function join(known: ReportQuerier | undefined, seen: QuerierSeen, agent: string, isElected: boolean): ReportQuerier {
  const { address, family, version, queries, firstMs, lastMs, intervalSeenMs, intervalAdvertisedMs } = seen;
  return {
    address,
    family,
    version,
    heardBy: [...(known?.heardBy ?? []), agent],
    queries: Math.max(known?.queries ?? 0, queries),
    firstMs: Math.min(known?.firstMs ?? firstMs, firstMs),
    lastMs: Math.max(known?.lastMs ?? lastMs, lastMs),
    intervalSeenMs: known?.intervalSeenMs ?? intervalSeenMs,
    intervalAdvertisedMs: known?.intervalAdvertisedMs ?? intervalAdvertisedMs,
    isElected: (known?.isElected ?? false) || isElected,
  };
}
