import type { SiteGraph } from "@dyetrace/site";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";

/** A move from one access point to another. */
export interface WifiMove {
  readonly atNs: number;
  readonly from: string;
  readonly to: string;
}

/** Moves between BSSIDs; a time without any between two of the same is none. */
export function movesIn(sights: readonly WifiSight[]): WifiMove[] {
  let last: string | null = null;
  return sights.flatMap(({ atNs, bssid }): WifiMove[] => {
    if (bssid === null || bssid === last) return [];
    const from = last;
    last = bssid;
    return from === null ? [] : [{ atNs, from, to: bssid }];
  });
}

/** @returns the plan's access point with this BSSID; null where it has none such */
export const accessPointOf = (graph: SiteGraph, bssid: string): string | null =>
  [...graph.nodes.values()].find(({ bssids }) => bssids?.includes(bssid))?.name ?? null;
