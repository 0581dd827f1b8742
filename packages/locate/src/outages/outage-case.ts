import type { LinkSegment } from "@dyetrace/site";
import { placeNames } from "../cover/failure-element.ts";
import { type LeaveCut, leaveThatCut } from "../membership/leave-cut.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { Outage } from "./outage.ts";

/** Outages with the same suspects. */
export interface OutageCase {
  readonly outages: readonly Outage[];
  readonly streams: readonly string[];
  readonly hosts: readonly string[];
  readonly suspects: readonly string[];
  readonly segments: readonly LinkSegment[];
  readonly cut: LeaveCut | null;
  /** From the start of one outage to the start of the next, if that is always about the same and there are three or more. */
  readonly periodMs: number | null;
}

export function suspectsOf(site: SiteIndex, { failure }: Outage): string[] {
  return [...new Set(failure.elements.flatMap((element) => placeNames(site, element)))];
}

export function outageCase(
  site: SiteIndex,
  outages: readonly Outage[],
  { leaves, timers }: MembershipContext,
): OutageCase {
  const cuts = outages.flatMap((outage) => {
    const silent = outage.receipts.map((receipt) => receipt.node);
    const served = outage.served.map((receipt) => receipt.node);
    return leaveThatCut(site, leaves, outage.facts, silent, served, outage.startMs, timers) ?? [];
  });
  const [first] = outages;
  const links = first?.failure.elements.filter(({ kind }) => kind === "link" || kind === "link-group") ?? [];
  return {
    outages,
    streams: [...new Set(outages.map((outage) => outage.facts.stream.stream))],
    hosts: [...new Set(outages.flatMap((outage) => outage.receipts.map((receipt) => receipt.listener.host)))],
    suspects: first === undefined ? [] : suspectsOf(site, first),
    segments: [...new Set(links.map((element) => element.place))].flatMap((place) => site.segments[place] ?? []),
    cut: cuts[0] ?? null,
    periodMs: periodOf(outages),
  };
}

/** How far each may lie from the mean. Common practice, no source. */
const PERIOD_TOLERANCE = 0.15;

function periodOf(outages: readonly Outage[]): number | null {
  const starts = [...new Set(outages.map((outage) => Math.round(outage.startMs / 100) * 100))].sort((a, b) => a - b);
  const steps = starts.slice(1).map((start, i) => start - (starts[i] ?? 0));
  const mean = steps.reduce((sum, step) => sum + step, 0) / Math.max(1, steps.length);
  const isRegular = steps.length >= 2 && steps.every((step) => Math.abs(step - mean) <= PERIOD_TOLERANCE * mean);
  return isRegular ? mean : null;
}
