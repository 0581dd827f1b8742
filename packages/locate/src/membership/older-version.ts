import type { Finding } from "../finding/finding.ts";
import { findingsOf, having, rowsOf } from "../finding/finding-row.ts";
import { count, instant, nameList, seconds, verb } from "../finding/wording.ts";
import { type AddressFamily, protocolOf } from "../run/address-family.ts";
import type { QuerierHeard, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { membershipMs, ownTimers, timersOf } from "./querier-timing.ts";
import { type FamilyDomain, familyDomains, inVlan, plannedQuerier } from "./query-domains.ts";
import {
  fullVersion,
  type OlderQuerier,
  olderReports,
  type SpokenVersions,
  spokenVersions,
} from "./spoken-versions.ts";

/** Streams that were joined from one source alone, and are reported for any source. */
interface Widened extends FamilyDomain {
  readonly streams: readonly string[];
  readonly hosts: readonly string[];
  /** Of their reports. */
  readonly version: number;
  readonly atMs: number;
  /** Null where the hosts do it by themselves. */
  readonly pressedBy: OlderQuerier | null;
  /** Those of the hosts whose own settings say that version. */
  readonly forced: readonly string[];
  /** The querier of the plan; null where it tells none. */
  readonly planned: string | null;
}

const row = rowsOf<Widened>({
  streams: ({ streams }) => streams,
  suspects: ({ pressedBy, planned, hosts }) => (pressedBy === null ? hosts : planned === null ? [] : [planned]),
  evidence: ({ family, hosts, version, atMs, forced }) => [
    ...(forced.length === 0
      ? []
      : [`The own settings of ${nameList(forced)} say so: ${settingOf(family)} is ${version}.`]),
    `The first such report, of ${nameList(hosts)}, came ${instant(atMs)}.`,
    `A report of ${protocolOf(family)}v${version} names no source, so what others send to the group comes to these ports as well, and in the source-specific range (232.0.0.0/8, ff3x::/32) a router forwards nothing for it.`,
  ],
});

const settingOf = (family: AddressFamily): string => (family === 4 ? "force_igmp_version" : "force_mld_version");

const REFERENCE = "RFC 3376, section 7.2.1; RFC 3810, section 8.2.1; RFC 4604, section 2";

const ROWS = [
  row({
    kind: "older-version",
    match: (one) => having(one, "pressedBy"),
    title: (one) =>
      `${one.pressedBy.querier.address} asks in ${versionOf(one.pressedBy.querier)}${inVlan(one.vlan)}, so ${nameList(one.hosts)} ${verb(one.hosts, "report")} ${nameList(one.streams)} for any source, though joined from one alone`,
    advice:
      "Set the querier to IGMPv3 and MLDv2. If it is not the querier of the plan, find the device that sends these queries: one of them is enough for minutes.",
    reference: REFERENCE,
  }),
  row({
    kind: "older-version",
    match: (one) => one,
    title: ({ family, hosts, streams, version }) =>
      `${nameList(hosts)} ${verb(hosts, "report")} ${nameList(streams)} in ${protocolOf(family)}v${version} for any source, though joined from one alone, and no query pressed ${hosts.length === 1 ? "it" : "them"} into that version`,
    advice:
      "Look on these hosts for a setting of the version (on Linux force_igmp_version and force_mld_version), and for what else answers for them, such as a proxy in a virtual switch.",
    reference: REFERENCE,
  }),
];

/** Who spoke in which version in one domain, and what became of source-specific streams by that. */
export interface DomainVersions {
  readonly domain: FamilyDomain;
  readonly spoken: SpokenVersions;
  readonly widened: readonly Widened[];
}

/** What findings and remarks about versions are made of. */
export const domainVersions = (site: SiteIndex, run: RunObservations): DomainVersions[] =>
  familyDomains(site, run).map((domain) => {
    const spoken = spokenVersions(run, domain);
    return { domain, spoken, widened: widenedIn(site, run, domain, spoken) };
  });

/** Source-specific streams that an older version makes any-source ones, without anybody saying so. */
export const findOlderVersions = (versions: readonly DomainVersions[]): Finding[] =>
  findingsOf(
    ROWS,
    versions.flatMap(({ widened }) => widened),
  );

function widenedIn(site: SiteIndex, run: RunObservations, domain: FamilyDomain, spoken: SpokenVersions): Widened[] {
  const planned = plannedQuerier(site, run, domain);
  const found = new Map<string, Widened & { streams: string[]; hosts: string[]; forced: string[] }>();
  for (const { stream, group, ssm } of run.streams) {
    if (!ssm) continue;
    for (const { host, atMs, version } of olderReports(run, domain.family, group)) {
      const isListener = run.listeners.some((one) => one.host === host && one.stream === stream);
      const own = spoken.hosts.find((one) => one.host === host);
      if (!isListener || own === undefined) continue;
      const key = `${version} ${own.pressedBy?.querier.address ?? ""}`;
      const same = found.get(key);
      if (same === undefined) {
        const { pressedBy } = own;
        // Where another asks in the full version, that one is the plan's.
        const suspect = pressedBy !== null && asksOtherwise(domain, pressedBy.querier) ? null : planned;
        const forced = own.forcedTo === version ? [host] : [];
        const more = { hosts: [host], version, atMs, pressedBy, forced, planned: suspect };
        found.set(key, { ...domain, streams: [stream], ...more });
        continue;
      }
      if (!same.hosts.includes(host)) {
        same.hosts.push(host);
        if (own.forcedTo === version) same.forced.push(host);
      }
      if (!same.streams.includes(stream)) same.streams.push(stream);
    }
  }
  return [...found.values()];
}

const asksOtherwise = ({ family, queriers }: FamilyDomain, { address }: QuerierHeard): boolean =>
  queriers.some(({ queriers: heard }) =>
    heard.some((one) => one.family === family && one.version >= fullVersion(family) && one.address !== address),
  );

/** What an older version costs where no stream of the run is spoiled by it. */
export function versionRemarks(run: RunObservations, versions: readonly DomainVersions[]): string[] {
  return versions.flatMap(({ domain, spoken: { queriers, hosts }, widened: said }) => {
    const byThemselves = hosts.filter(
      ({ pressedBy, host }) => pressedBy === null && !said.some((one) => one.hosts.includes(host)),
    );
    const asked = queriers
      .filter(({ querier }) => !said.some(({ pressedBy }) => pressedBy?.querier.address === querier.address))
      .map(({ querier }) => {
        const pressed = hosts.filter(({ pressedBy }) => pressedBy?.querier === querier).map(({ host }) => host);
        const answer = pressed.length === 0 ? "" : ` ${nameList(pressed)} ${verb(pressed, "report")} in it.`;
        return `${querier.address} asks in ${versionOf(querier)}${inVlan(domain.vlan)} (${count(querier.queries, "query", "queries")}, the first ${instant(querier.firstMs)}).${answer} ${costOf(run, querier)}`;
      });
    const own = byThemselves.map(
      ({ host, version, forcedTo }) =>
        `${host} reports in ${protocolOf(domain.family)}v${version}, and ${forcedTo === version ? `its own settings say so (${settingOf(domain.family)})` : "no query that it heard pressed it into that version: see its own settings"}.`,
    );
    return [...asked, ...own];
  });
}

const versionOf = ({ family, version }: QuerierHeard): string => `${protocolOf(family)}v${version}`;

/** @see RFC 1112, appendix I; RFC 2236, section 3; RFC 2710, section 4 */
function costOf(run: RunObservations, querier: QuerierHeard): string {
  const all = `No join can name a source, and a host that hears another's report keeps its own back (RFC 3376, section 7.2.1; RFC 3810, section 8.2.1).`;
  if (querier.version > 1 || querier.family === 6) return all;
  const lastsMs = membershipMs(ownTimers(querier, timersOf(run, querier.family)));
  return `${all} IGMPv1 has no leave, so streams go on for up to ${seconds(lastsMs)} after one.`;
}
