import type { SiteGraph } from "@dyetrace/site";

/** @returns the plan's access point with this BSSID; null where it has none such */
export const accessPointOf = (graph: SiteGraph, bssid: string): string | null =>
  [...graph.nodes.values()].find(({ bssids }) => bssids?.includes(bssid))?.name ?? null;
