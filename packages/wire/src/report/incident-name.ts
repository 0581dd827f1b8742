import type { ReportIncident } from "./report-schema.ts";

/** Kind and place, such as `loss: core:1>east:24`: nights are held against each other by it. */
export const incidentName = (
  { kind, suspects, agents }: Pick<ReportIncident, "kind" | "suspects" | "agents">,
  site: string,
): string => `${kind}: ${suspects[0] ?? (agents.length === 0 ? site : agents.toSorted().join(", "))}`;
