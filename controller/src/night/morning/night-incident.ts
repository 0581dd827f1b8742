import { incidentName, type NightIncident, type ReportIncident } from "@dyetrace/wire";

/** What does no harm to a picture by itself, however long it lasts. */
const HARMLESS: ReadonlySet<string> = new Set([
  "clock-step",
  "no-control",
  "querier-change",
  "duplicates",
  "reordered",
]);

/** An incident as the night tells it: by a name that is the same each night, by instants, and by its harm. Pure. */
export function nightIncident(incident: ReportIncident, site: string, startedMs: number): NightIncident {
  const isoOf = (atMs: number): string => new Date(startedMs + atMs).toISOString();
  return {
    ...incident,
    name: incidentName(incident, site),
    fromAt: isoOf(incident.fromMs),
    toAt: isoOf(incident.toMs),
    harmMs: harmMs(incident),
  };
}

/** Time without a stream, added up over listeners and streams. Of what is not known, as of an absence, its length for each agent. */
export function harmMs({ kind, fromMs, toMs, agents, withoutMs }: ReportIncident): number {
  if (withoutMs !== undefined) return withoutMs;
  return HARMLESS.has(kind) ? 0 : (toMs - fromMs) * Math.max(1, agents.length);
}
