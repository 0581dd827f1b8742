import type { StoryRemark } from "@dyetrace/wire";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";

/** A move from one access point to another, by their BSSIDs. */
export interface WifiMove {
  readonly atNs: number;
  readonly from: string;
  readonly to: string;
}

/** More moves of one station are not kept: its last are told. */
export const MOST_MOVES = 500;

/** Moves between BSSIDs; a time without any between two of the same is none. */
export function movesIn(sights: readonly Pick<WifiSight, "atNs" | "bssid">[]): WifiMove[] {
  let last: string | null = null;
  return sights.flatMap(({ atNs, bssid }): WifiMove[] => {
    if (bssid === null || bssid === last) return [];
    const from = last;
    last = bssid;
    return from === null ? [] : [{ atNs, from, to: bssid }];
  });
}

/** @param accessPointOf the plan's name of a BSSID; null where it has none such */
export function roamRemarks(
  host: string,
  moves: readonly WifiMove[],
  accessPointOf: (bssid: string) => string | null,
): StoryRemark[] {
  const name = (bssid: string): string => {
    const accessPoint = accessPointOf(bssid);
    return accessPoint === null ? `${bssid}, which the plan has not` : accessPoint;
  };
  return moves.map(({ atNs, from, to }) => ({
    kind: "roamed",
    lane: host,
    group: null,
    atMs: atNs / 1e6,
    sentence: `${host} roamed from ${name(from)} to ${name(to)}.`,
  }));
}
