import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { MembershipEvent, QuerierHeard, RunObservations } from "../run/run-observations.ts";
import { membershipMs, ownTimers, timersOf } from "./querier-timing.ts";
import type { FamilyDomain } from "./query-domains.ts";

/** IGMPv3 and MLDv2 name sources, are answered by every host, and are left with a word; what came before is not all of that. */
export const fullVersion = (family: AddressFamily): number => (family === 4 ? 3 : 2);

/** A querier that presses hosts into an older version. */
export interface OlderQuerier {
  readonly querier: QuerierHeard;
  /** Hosts that heard it. */
  readonly hearers: readonly string[];
}

/** A host whose reports are of an older version. */
export interface OlderHost {
  readonly host: string;
  readonly version: number;
  /** The first such report in the run. */
  readonly atMs: number;
  /** The queriers that pressed it into that version; null where none that it heard did. */
  readonly pressedBy: OlderQuerier | null;
  /** The version that its own settings press it into, 0: none; null where it could not be read. */
  readonly forcedTo: number | null;
}

export interface SpokenVersions {
  readonly queriers: readonly OlderQuerier[];
  readonly hosts: readonly OlderHost[];
}

/**
 * Who asks and who reports in an older version. A host keeps to the oldest version that it has heard lately: for the
 * older-version-querier-present interval, as long as a membership lasts.
 * @see RFC 3376, sections 7.2.1 and 8.12; RFC 3810, sections 8.2.1 and 9.12
 */
export function spokenVersions(run: RunObservations, { family, queriers }: FamilyDomain): SpokenVersions {
  const older = new Map<string, { querier: QuerierHeard; hearers: string[] }>();
  for (const { host, queriers: heard } of queriers) {
    for (const querier of heard) {
      if (querier.family !== family || !isOlder(run, querier) || querier.isOwn === true) continue;
      const key = `${querier.address} ${querier.version}`;
      const known = older.get(key);
      if (known === undefined) older.set(key, { querier, hearers: [host] });
      else if (!known.hearers.includes(host)) known.hearers.push(host);
    }
  }
  const all = [...older.values()].sort((a, b) => a.querier.version - b.querier.version);
  const reports = olderReports(run, family);
  const hosts = queriers.flatMap(({ host }): OlderHost[] => {
    const first = reports.find((one) => one.host === host);
    if (first === undefined) return [];
    const settings = run.forcedVersions?.find((one) => one.host === host);
    const forcedTo = settings === undefined ? null : family === 4 ? settings.igmp : settings.mld;
    const pressing = all.find(({ querier, hearers }) => hearers.includes(host) && querier.version <= first.version);
    // A setting comes before whatever is asked (Linux: net/ipv4/igmp.c).
    const pressedBy = forcedTo === first.version ? null : (pressing ?? null);
    return [{ host, version: first.version, atMs: first.atMs, pressedBy, forcedTo }];
  });
  return { queriers: all, hosts };
}

/** It asks in an older version, and did so last no longer before the run than hosts heed it. */
function isOlder(run: RunObservations, querier: QuerierHeard): boolean {
  const heededMs = membershipMs(ownTimers(querier, timersOf(run, querier.family)));
  return querier.version < fullVersion(querier.family) && querier.lastMs >= -heededMs;
}

/** A join at the run's start may seem to be of before it, by a clock that is off. Common practice, no source. */
const CLOCKS_MS = 500;

type VersionedReport = MembershipEvent & { readonly version: number };

/** Reports of an older version in the run, in order of time. @param group null: of all groups */
export function olderReports(
  { membership }: RunObservations,
  family: AddressFamily,
  group: string | null = null,
): VersionedReport[] {
  return membership
    .filter((one): one is VersionedReport => one.kind === "report" && one.version !== undefined)
    .filter((one) => one.version < fullVersion(family) && familyOf(one.group) === family && one.atMs >= -CLOCKS_MS)
    .filter((one) => group === null || one.group === group)
    .sort((a, b) => a.atMs - b.atMs);
}
