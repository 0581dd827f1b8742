import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { LeaveCut } from "../membership/leave-cut.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { Outage } from "./outage.ts";
import { cutBefore, outageCase, suspectsOf } from "./outage-case.ts";
import { OUTAGE_ROWS } from "./outage-rows.ts";

/** One finding for all outages that point to the same place, and have the same leave before them or none. */
export function outageFindings(site: SiteIndex, outages: readonly Outage[], membership: MembershipContext): Finding[] {
  const groups = new Map<string, { readonly same: Outage[]; readonly cuts: LeaveCut[] }>();
  for (const outage of outages) {
    const cut = cutBefore(site, outage, membership);
    const key = [...suspectsOf(site, outage), cut?.leave.host ?? "", cut?.port.id ?? ""].join(" ");
    const group = groups.get(key) ?? { same: [], cuts: [] };
    groups.set(key, group);
    group.same.push(outage);
    if (cut !== null) group.cuts.push(cut);
  }
  return findingsOf(
    OUTAGE_ROWS,
    [...groups.values()].map(({ same, cuts }) => outageCase(site, same, cuts.length === 0 ? null : cuts, membership)),
  );
}
