import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Conclusion } from "../conclusion.ts";
import { locate } from "../locate.ts";
import type { QuerierHeard, RunObservations } from "../run/run-observations.ts";

/** Versions by RFC 3376, section 7.2.1, and RFC 3810, section 8.2.1: hosts keep to the oldest that they have heard lately. */
const site = sketchSite(["tower--core", "core--kiosk", "core--hall", "core--gate"], "core");
const HOSTS = ["kiosk", "hall", "gate"];
const GROUPS = { 4: "232.0.1.1", 6: "ff35::1" } as const;
type Family = 4 | 6;

interface Spoken {
  readonly family: Family;
  readonly ssm: boolean;
  readonly queriers: readonly Partial<QuerierHeard>[];
  /** Of the reports of each host. */
  readonly versions: Readonly<Record<string, number>>;
  readonly reportsMs?: readonly number[];
  readonly forcedVersions?: RunObservations["forcedVersions"];
}

function concludedOf({
  family,
  ssm,
  queriers,
  versions,
  reportsMs = [500, 4_800],
  forcedVersions = [],
}: Spoken): Conclusion {
  const group = GROUPS[family];
  const board = { stream: "board", group, source: "tower", listeners: HOSTS, packets: 3_000 };
  const run = simulateRun(site, [board], [], seededRandom(6));
  const base = { address: family === 4 ? "192.0.2.1" : "fe80::1", family, version: family === 4 ? 3 : 2 };
  const heard = queriers.map((one) => {
    return { ...base, queries: 23, firstMs: -58_000, lastMs: 30_000, intervalMs: 4_000, ...one };
  });
  const timers = { queryIntervalMs: 4_000, queryResponseMs: 1_000, robustness: 2, lastMemberMs: 2_000 };
  const observed: RunObservations = {
    ...run,
    forcedVersions,
    timers,
    mldTimers: timers,
    streams: run.streams.map((stream) => ({ ...stream, ssm })),
    queriers: HOSTS.map((host) => {
      return { host, canHear: true, watchedFromMs: -60_000, watchedToMs: 30_000, queriers: heard };
    }),
    membership: HOSTS.flatMap((host) =>
      reportsMs.map((atMs) => ({ kind: "report" as const, host, group, atMs, version: versions[host] ?? 0 })),
    ),
  };
  return locate(site, observed);
}
const all = (version: number): Record<string, number> => Object.fromEntries(HOSTS.map((host) => [host, version]));
const NAMES = { 4: "IGMPv2", 6: "MLDv1" } as const;
const FULL = { 4: 3, 6: 2 } as const;

for (const family of [4, 6] as const) {
  const older = FULL[family] - 1;

  test(`older-version: given an IPv${family} querier of an older version and source-specific joins, then they are said to be widened, and the querier is named`, () => {
    const { findings, remarks } = concludedOf({
      family,
      ssm: true,
      queriers: [{ version: older }],
      versions: all(older),
    });
    expect(findings).toMatchObject([{ kind: "older-version", streams: ["board"], suspects: ["core"] }]);
    expect(findings[0]?.title).toContain(
      `asks in ${NAMES[family]}, so kiosk, hall and gate report board for any source, though joined from one alone`,
    );
    expect(remarks).toEqual([]);
  });

  test(`older-version: given the same and joins from any source, then it is a remark`, () => {
    const { findings, remarks } = concludedOf({
      family,
      ssm: false,
      queriers: [{ version: older }],
      versions: all(older),
    });
    expect(findings).toEqual([]);
    expect(remarks).toHaveLength(1);
    expect(remarks[0]).toContain(`asks in ${NAMES[family]} (23 queries`);
    expect(remarks[0]).toContain(`kiosk, hall and gate report in it`);
  });

  test(`older-version: given an IPv${family} host of an older version under a querier of the full one, then the host is named`, () => {
    const versions = { ...all(FULL[family]), hall: older };
    const { findings, remarks } = concludedOf({ family, ssm: true, queriers: [{}], versions });
    expect(findings).toMatchObject([{ kind: "older-version", suspects: ["hall"] }]);
    expect(findings[0]?.title).toContain(`hall reports board in ${NAMES[family]} for any source`);
    expect(remarks).toEqual([]);
    const any = concludedOf({ family, ssm: false, queriers: [{}], versions });
    expect([any.findings.length, any.remarks.length]).toEqual([0, 1]);
    expect(any.remarks[0]).toContain("hall reports in");
  });

  test(`older-version: given the full version everywhere in IPv${family}, then nothing is said`, () => {
    const { findings, remarks } = concludedOf({ family, ssm: true, queriers: [{}], versions: all(FULL[family]) });
    expect([findings, remarks]).toEqual([[], []]);
  });
}

test("older-version: given one stray IGMPv1 query beside an IGMPv3 querier, then the leaves that are missing are told", () => {
  const stray = { address: "192.0.2.77", version: 1, queries: 1, firstMs: 4_000, lastMs: 4_000 };
  const { findings, remarks } = concludedOf({ family: 4, ssm: false, queriers: [{}, stray], versions: all(1) });
  expect(findings).toEqual([]);
  expect(remarks).toHaveLength(1);
  expect(remarks[0]).toContain("192.0.2.77 asks in IGMPv1 (1 query, the first at 4.0 s)");
  expect(remarks[0]).toContain("IGMPv1 has no leave");
});

test("older-version: given an older querier that ended longer ago than hosts heed it, then it is no cause", () => {
  // 2 x 4 s and 1 s: the older-version-querier-present interval (RFC 3376, section 8.12).
  const ended = (lastMs: number) => ({
    address: "192.0.2.77",
    version: 2,
    queries: 5,
    firstMs: lastMs - 16_000,
    lastMs,
  });
  const concluded = (lastMs: number): readonly (readonly string[])[] =>
    concludedOf({
      family: 4,
      ssm: true,
      queriers: [{}, { ...ended(lastMs), maxResponseMs: 1_000, robustness: 2 }],
      versions: { ...all(3), kiosk: 2 },
    }).findings.map(({ suspects }) => suspects);
  expect(concluded(-8_000)).toEqual([[]]);
  expect(concluded(-10_000)).toEqual([["kiosk"]]);
});

test("older-version: given a host whose name another's begins with, and that other one in a finding, then it is told as well", () => {
  const two = sketchSite(["tower--core", "core--kiosk", "core--kiosk2"], "core");
  const board = { stream: "board", group: GROUPS[4], source: "tower", listeners: ["kiosk2"], packets: 3_000 };
  const run = simulateRun(two, [board], [], seededRandom(6));
  const reports = { kiosk2: GROUPS[4], kiosk: "233.252.0.9" };
  const { findings, remarks } = locate(two, {
    ...run,
    streams: run.streams.map((stream) => ({ ...stream, ssm: true })),
    queriers: Object.keys(reports).map((host) => {
      return { host, canHear: true, watchedFromMs: -1_000, watchedToMs: 30_000, queriers: [] };
    }),
    membership: Object.entries(reports).map(([host, group]) => ({
      kind: "report" as const,
      host,
      group,
      atMs: 500,
      version: 2,
    })),
  });
  expect(findings.filter(({ kind }) => kind === "older-version")).toMatchObject([{ suspects: ["kiosk2"] }]);
  expect(remarks.filter((remark) => remark.startsWith("kiosk"))).toEqual([
    "kiosk reports in IGMPv2, and no query that it heard pressed it into that version: see its own settings.",
  ]);
});

test("older-version: given reports of an older version before the run alone, then nothing is said of them", () => {
  const spoken = { family: 4, ssm: true, queriers: [{}], versions: all(2), reportsMs: [-2_600] } as const;
  const { findings, remarks } = concludedOf(spoken);
  expect([findings, remarks]).toEqual([[], []]);
});

test("older-version: given hosts whose own settings say that version, then that is the reason, whoever asks", () => {
  const spoken = { family: 4, ssm: true, queriers: [{ version: 2 }], versions: { ...all(3), kiosk: 2 } } as const;
  const forcedVersions = [{ host: "kiosk", igmp: 2, mld: 0 }];
  const { findings } = concludedOf({ ...spoken, forcedVersions });
  expect(findings.map(({ kind, suspects }) => [kind, ...suspects])).toEqual([["older-version", "kiosk"]]);
  expect(findings[0]?.evidence[0]).toBe("The own settings of kiosk say so: force_igmp_version is 2.");
});
