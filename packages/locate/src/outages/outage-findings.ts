import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { Outage } from "./outage.ts";
import { outageCase, suspectsOf } from "./outage-case.ts";
import { OUTAGE_ROWS } from "./outage-rows.ts";

/** One finding for all outages that point to the same place. */
export function outageFindings(site: SiteIndex, outages: readonly Outage[], membership: MembershipContext): Finding[] {
  const bySuspects = new Map<string, Outage[]>();
  for (const outage of outages) {
    const key = suspectsOf(site, outage).join(" ");
    const same = bySuspects.get(key);
    if (same === undefined) bySuspects.set(key, [outage]);
    else same.push(outage);
  }
  return findingsOf(
    OUTAGE_ROWS,
    [...bySuspects.values()].map((same) => outageCase(site, same, membership)),
  );
}
