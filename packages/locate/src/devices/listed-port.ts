import { type LinkSegment, planPlace, vlanOfPlace } from "@dyetrace/site";
import { isAboutGroup } from "@dyetrace/wire/devices/is-about-group";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { DeviceView } from "./device-view.ts";

/** Whether the table of the node above a link had the link's port for a group while a listener below was joined. */
export interface ListedPort {
  readonly isListed: boolean;
  /** How likely it is that the table says so although it is otherwise. */
  readonly wrongChance: number;
  readonly atMs: number;
}

/** A join's own reports are repeated within a second, and a table takes them at once (RFC 3376, section 8.11). */
const SETTLED_MS = 1_500;

/** A port stands in a table although no report came, which it did not before the join. Our estimate, no source. */
const GHOST_CHANCE = 0.0005;
/** The same where nobody knows what stood there before. Our estimate, no source. */
const STALE_CHANCE = 0.05;
/** A table has the group, and not the port where it was asked for. Our estimate, no source. */
const MISSING_PORT_CHANCE = 0.001;
/** It has other groups and not this one. Our estimate, no source. */
const MISSING_GROUP_CHANCE = 0.05;
/** It has forgotten the port, because queries were lost with the data. Our estimate, no source. */
const FORGOTTEN_CHANCE = 0.3;

/** @returns null where no reading of that time proves anything */
export function listedPort(
  view: DeviceView,
  { from, id }: LinkSegment,
  group: string,
  stay: { readonly joinedFromMs: number; readonly joinedToMs: number | null },
  timers: MembershipTimers,
): ListedPort | null {
  const vlan = vlanOfPlace(id);
  const isVlan = (row: number | null): boolean => row === null || vlan === null || row === vlan;
  const intervalMs = timers.robustness * timers.queryIntervalMs + timers.queryResponseMs;
  let first: ListedPort | null = null;
  let wasListedBefore: boolean | null = null;
  for (const { atMs, groups, allGroupPorts, isWhole } of view.tables(planPlace(from.node))) {
    if (stay.joinedToMs !== null && atMs > stay.joinedToMs) break;
    const rows = groups.filter((row) => isVlan(row.vlan) && isAboutGroup(row.group, group));
    const isListed = rows.some(({ ports }) => ports.includes(from.port));
    if (atMs < stay.joinedFromMs) wasListedBefore = isListed || !isWhole;
    if (atMs < stay.joinedFromMs + SETTLED_MS) continue;
    if (isListed) {
      // It may stand there from an earlier time, whose end was lost as well.
      if (wasListedBefore === true) return null;
      return { isListed, wrongChance: wasListedBefore === false ? GHOST_CHANCE : STALE_CHANCE, atMs };
    }
    // Where all groups go out of the port anyway, the table need not have it; a table that is cut may have had it.
    const isOpen = (allGroupPorts ?? []).some((row) => isVlan(row.vlan) && row.ports.includes(from.port));
    if (!isWhole || isOpen) continue;
    // A join's own reports come unasked (RFC 3376, section 5.1); later ones need queries.
    const isFresh = atMs - stay.joinedFromMs < intervalMs;
    const wrongChance = !isFresh ? FORGOTTEN_CHANCE : rows.length > 0 ? MISSING_PORT_CHANCE : MISSING_GROUP_CHANCE;
    first ??= { isListed, wrongChance, atMs };
  }
  return first;
}
