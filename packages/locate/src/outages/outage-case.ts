import type { LinkSegment } from "@dyetrace/site";
import { placeNames } from "../cover/failure-element.ts";
import { type Ageing, ageingOf } from "../membership/ageing.ts";
import { type LeaveCut, leaveThatCut } from "../membership/leave-cut.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import { familyOf } from "../run/address-family.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { Outage } from "./outage.ts";

/** Outages with the same suspects. */
export interface OutageCase {
  readonly outages: readonly Outage[];
  readonly streams: readonly string[];
  readonly hosts: readonly string[];
  readonly suspects: readonly string[];
  readonly segments: readonly LinkSegment[];
  /** What cut each of the outages; null where no leave did. */
  readonly cuts: readonly LeaveCut[] | null;
  /** From the start of one outage to the start of the next, if that is always about the same and there are three or more. */
  readonly periodMs: number | null;
  /** True when queries and reports say of every outage that memberships may have run out. */
  readonly isAgeing: boolean;
  /** Why the membership of the first of them ran out, where queries say that all did and each ended with a report. */
  readonly ageing: Ageing | null;
}

export function suspectsOf(site: SiteIndex, { failure }: Outage): string[] {
  return [...new Set(failure.elements.flatMap((element) => placeNames(site, element)))];
}

/** The leave that explains an outage, if one does. */
export function cutBefore(site: SiteIndex, outage: Outage, { leaves, timersOf }: MembershipContext): LeaveCut | null {
  const silent = outage.receipts.map((receipt) => receipt.node);
  const served = outage.served.map((receipt) => receipt.node);
  const timers = timersOf(familyOf(outage.facts.stream.group));
  return leaveThatCut(site, leaves, outage.facts, silent, served, outage.startMs, timers);
}

/** @param cuts one for each outage, or null */
export function outageCase(
  site: SiteIndex,
  outages: readonly Outage[],
  cuts: OutageCase["cuts"],
  membership: MembershipContext,
): OutageCase {
  const periodMs = periodOf(outages);
  const [first] = outages;
  const ageings = outages.map((outage) => ageingBefore(outage, membership));
  const links = first?.failure.elements.filter(({ kind }) => kind === "link" || kind === "link-group") ?? [];
  return {
    outages,
    streams: [...new Set(outages.map((outage) => outage.facts.stream.stream))],
    hosts: [...new Set(outages.flatMap((outage) => outage.receipts.map((receipt) => receipt.listener.host)))],
    suspects: first === undefined ? [] : suspectsOf(site, first),
    segments: [...new Set(links.map((element) => element.place))].flatMap((place) => site.segments[place] ?? []),
    cuts,
    periodMs,
    isAgeing: outages.every((outage, at) => ageings[at] !== null || isAtQueryInterval(outage, periodMs, membership)),
    ageing:
      ageings.every(isTold) && outages.every((outage) => cameBackByReport(outage, membership))
        ? (ageings[0] ?? null)
        : null,
  };
}

/** Nobody asked for the whole time that a membership lasts, or nobody answered. */
function ageingBefore({ facts, receipts, startMs }: Outage, membership: MembershipContext): Ageing | null {
  const { group } = facts.stream;
  const ends = receipts.map(({ listener }) => ({ listener, group, atMs: startMs }));
  return ageingOf(ends, membership);
}

/** More than that the time fits. */
const isTold = (ageing: Ageing | null): boolean => ageing !== null && (ageing.isCertain || ageing.suspects.length > 0);

/** How far from a report the stream may come back and still come by it. Common practice, no source. */
const BACK_MS = 300;

/**
 * A switch that forgets members before the next query opens the port again at the report that answers it, so outages come
 * at the query interval, off by the response time at most (RFC 3376, section 8.3), and each ends with a report.
 */
function isAtQueryInterval(outage: Outage, periodMs: number | null, membership: MembershipContext): boolean {
  const { queryIntervalMs, queryResponseMs } = membership.timersOf(familyOf(outage.facts.stream.group));
  if (periodMs === null || Math.abs(periodMs - queryIntervalMs) > queryResponseMs) return false;
  return cameBackByReport(outage, membership);
}

const cameBackByReport = ({ facts, receipts, endMs }: Outage, { queries }: MembershipContext): boolean =>
  receipts.some(({ listener }) => {
    const reportMs = queries.lastReportMs(listener.host, facts.stream.group, endMs + BACK_MS);
    return reportMs !== null && reportMs >= endMs - BACK_MS;
  });

/** How far each may lie from the mean. Common practice, no source. */
const PERIOD_TOLERANCE = 0.15;

function periodOf(outages: readonly Outage[]): number | null {
  const starts = [...new Set(outages.map((outage) => Math.round(outage.startMs / 100) * 100))].sort((a, b) => a - b);
  const steps = starts.slice(1).map((start, i) => start - (starts[i] ?? 0));
  const mean = steps.reduce((sum, step) => sum + step, 0) / Math.max(1, steps.length);
  const isRegular = steps.length >= 2 && steps.every((step) => Math.abs(step - mean) <= PERIOD_TOLERANCE * mean);
  return isRegular ? mean : null;
}
