import { greatestOf, parseIpAddress } from "@dyetrace/wire";
import { heardMembership } from "../account/heard-membership.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";

/**
 * The group membership interval that the queries of a site tell: robustness x query interval + response time, the
 * longest that any agent makes out (RFC 3376 8.4, RFC 3810 9.4).
 * @returns null where no agent heard a query of the streams' address families, with the standard's default left
 */
export function siteMembershipIntervalNs(run: CompiledRun, evidence: RunEvidence): number | null {
  const families = new Set(run.streams.map(({ group }) => parseIpAddress(group)?.family));
  const heard = [...evidence.agents.values()].flatMap((one) => {
    const view = heardMembership(one)?.view;
    if (view === undefined) return [];
    const timers = [families.has(4) ? [view.ipv4.timers] : [], families.has(6) ? [view.ipv6.timers] : []].flat();
    return timers.filter(({ source }) => source !== "default").map((one) => one.membershipIntervalLowMs * 1e6);
  });
  return heard.length === 0 ? null : greatestOf(heard);
}
