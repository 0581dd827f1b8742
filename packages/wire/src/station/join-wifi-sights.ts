import type { WifiSight } from "./wifi-sight-schema.ts";

/** Sights that one report holds: where more were seen, moves are kept first. */
export const MOST_WIFI_SIGHTS = 64;

/** Where neighbouring reports become one: each move and the last sight stay, and of the rest what there is room for. */
export function joinWifiSights(a: readonly WifiSight[], b: readonly WifiSight[]): WifiSight[] {
  const all = [...a, ...b];
  if (all.length <= MOST_WIFI_SIGHTS) return all;
  const isMove = (at: number): boolean => at === 0 || all[at]?.bssid !== all[at - 1]?.bssid;
  const moves = all.filter((_, at) => isMove(at) || at === all.length - 1);
  const room = MOST_WIFI_SIGHTS - moves.length;
  if (room <= 0) return moves.slice(-MOST_WIFI_SIGHTS);
  const kept = new Set([...moves, ...all.filter((sight) => !moves.includes(sight)).slice(-room)]);
  return all.filter((sight) => kept.has(sight));
}
