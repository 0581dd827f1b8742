import { formatCount, formatDurationNs, incidentName, type ReportIncident } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";

/** So many incidents are kept each by itself. Of more, those of one name are summed up, the most frequent name first. */
const MOST_INCIDENTS = 400;
/** Beginnings that are kept of what is summed up, so that what repeats still shows. */
const MOST_STARTS = 1000;

/** What there is too much of to be read, or kept, by name: one line with how often, and when. Pure. */
export function sumUp(incidents: readonly ReportIncident[], site: string): readonly ReportIncident[] {
  if (incidents.length <= MOST_INCIDENTS) return incidents;
  const byName = new Map<string, ReportIncident[]>();
  for (const one of incidents) {
    if (one.isSteady !== true) getOrAdd(byName, incidentName(one, site), () => []).push(one);
  }
  let left = incidents.length;
  const summed = new Map<ReportIncident, ReportIncident | null>();
  for (const own of [...byName.values()].toSorted((a, b) => b.length - a.length)) {
    if (left <= MOST_INCIDENTS || own.length < 2) break;
    left -= own.length - 1;
    const whole = together(own);
    for (const [index, one] of own.entries()) summed.set(one, index === 0 ? whole : null);
  }
  return incidents.flatMap((one) => {
    const whole = summed.get(one);
    return whole === undefined ? [one] : whole === null ? [] : [whole];
  });
}

/** @param own of one name, two at least */
function together(own: readonly ReportIncident[]): ReportIncident {
  const sorted = own.toSorted((a, b) => a.fromMs - b.fromMs);
  const [first] = sorted;
  if (first === undefined) throw new Error("Nothing to sum up");
  const toMs = sorted.reduce((latest, one) => Math.max(latest, one.toMs), first.toMs);
  const step = Math.max(1, sorted.length / MOST_STARTS);
  const count = sorted.reduce((sum, one) => sum + one.count, 0);
  const lastedNs = sorted.reduce((sum, one) => sum + (one.toMs - one.fromMs) * 1e6, 0);
  const without = sorted.flatMap(({ withoutMs }) => withoutMs ?? []);
  const packets = count > 0 ? `, ${formatCount(count)} packets` : "";
  return {
    ...first,
    toMs,
    streams: [...new Set(sorted.flatMap(({ streams }) => streams))],
    agents: [...new Set(sorted.flatMap(({ agents }) => agents))],
    count,
    ...(without.length === 0 ? {} : { withoutMs: without.reduce((sum, one) => sum + one, 0) }),
    times: sorted.length,
    startsMs: Array.from(
      { length: Math.min(MOST_STARTS, sorted.length) },
      (_, i) => sorted[Math.floor(i * step)]?.fromMs ?? 0,
    ),
    title: `${sorted.length} times within ${formatDurationNs((toMs - first.fromMs) * 1e6)}, ${formatDurationNs(lastedNs)} in all${packets}; the first: ${first.title}`,
  };
}
