import { loadSitePlan } from "@dyetrace/site";
import { describe, expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { locate } from "../locate.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";

const plan = (core: string, pier: string) =>
  loadSitePlan(
    `
site: Quillfen
nodes:
  core: { kind: switch, querier: true${core} }
  pier: { kind: switch${pier} }
  tower: { kind: host }
  kiosk: { kind: host }
  stand: { kind: host }
links: [ "core:1 -- pier:24", "core:2 -- tower:eth0", "core:3 -- stand:eth0", "pier:1 -- kiosk:eth0" ]
`,
    "plan.yaml",
  );
const PLAIN = plan("", "");
const CORE = "192.0.2.10";

/** Every `intervalMs`, with a response time of 1 s and robustness 2. */
const asks = (address: string, firstMs: number, lastMs: number, more: Partial<QuerierHeard> = {}): QuerierHeard => {
  const { intervalMs = 4_000 } = more;
  const queries = 1 + Math.round((lastMs - firstMs) / intervalMs);
  return {
    address,
    family: 4,
    version: 3,
    queries,
    firstMs,
    lastMs,
    intervalMs,
    maxResponseMs: 1_000,
    robustness: 2,
    ...more,
  };
};
const atAll = (queriers: QuerierHeard[], watchedFromMs = -60_000): QuerierObservation[] =>
  ["tower", "kiosk", "stand"].map((host) => ({ host, canHear: true, watchedFromMs, watchedToMs: 30_000, queriers }));

const BOARD = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk"],
  bystanders: ["stand"],
  packets: 300,
};
function conclude(queriers: readonly QuerierObservation[], site = PLAIN) {
  const run: RunObservations = { ...simulateRun(site, [BOARD], [], seededRandom(3)), queriers };
  return locate(site, run);
}

describe("auditQueriers", () => {
  test("given one querier, then it is told with its figures, its silence at the end, and the membership time that they make", () => {
    const { queriers, findings } = conclude(atAll([asks(CORE, -58_000, 26_000, { mac: "02:00:00:00:00:01" })]));
    expect(findings).toEqual([]);
    expect(queriers).toEqual([
      {
        vlan: null,
        family: 4,
        state: "one",
        planned: { node: "core", address: null },
        heard: [
          {
            address: CORE,
            mac: "02:00:00:00:00:01",
            version: 3,
            intervalMs: 4_000,
            maxResponseMs: 1_000,
            robustness: 2,
            membershipMs: 9_000, // RFC 3376, section 8.4: 2 x 4 s + 1 s
            queries: 22,
            firstMs: -58_000,
            lastMs: 26_000,
            silentMs: 4_000,
            heardBy: ["tower", "kiosk", "stand"],
            unheardBy: [],
            sender: null,
            isPlanned: null,
          },
        ],
        elections: [],
      },
    ]);
  });

  test("given the address of the plan's querier, then another is told from it", () => {
    const site = plan(`, addresses: [${CORE}]`, "");
    const planned = conclude(atAll([asks(CORE, -58_000, 26_000)]), site);
    expect([planned.findings, planned.queriers[0]?.state]).toEqual([[], "as-planned"]);
    const other = conclude(atAll([asks("192.0.2.66", -58_000, 26_000)]), site);
    expect(other.findings.map(({ kind }) => kind)).toEqual(["wrong-querier"]);
    expect(other.queriers[0]).toMatchObject({ state: "another", heard: [{ isPlanned: false }] });
  });

  test("given a lower address that wins, and one that stands in after a silence, then both are told with their times", () => {
    // RFC 3376, sections 6.6.2 and 8.5.
    const won = conclude(atAll([asks(CORE, -58_000, 10_000), asks("192.0.2.9", 12_000, 28_000)]));
    expect(won.queriers[0]).toMatchObject({
      state: "another",
      elections: [{ atMs: 12_000, from: CORE, to: "192.0.2.9", how: "won", heardBy: ["tower", "kiosk", "stand"] }],
    });
    const stoodIn = conclude(atAll([asks(CORE, -2_000, 2_000), asks("192.0.2.99", 12_000, 28_000)]));
    expect(stoodIn.queriers[0]?.elections).toMatchObject([{ how: "stood-in", silenceMs: 10_000 }]);
  });

  test("given queries of before the run's window alone, then none of them counts", () => {
    const { queriers, findings } = conclude(atAll([asks(CORE, -58_000, -50_000)]));
    expect(queriers).toMatchObject([{ state: "none", heard: [] }]);
    expect(findings.map(({ kind }) => kind)).toEqual(["no-querier"]);
  });

  test("given no query in less time than a querier may be silent, then it is not known whether there is one", () => {
    // RFC 3376, section 8.5: 255 s by default.
    const { queriers, findings } = conclude(atAll([], 0));
    expect([queriers[0]?.state, findings]).toEqual(["unknown", []]);
  });

  test("given queries from 0.0.0.0 alone, then that is a remark, and no finding", () => {
    const { queriers, findings, remarks } = conclude(atAll([asks("0.0.0.0", -58_000, 26_000)]));
    expect([queriers[0]?.state, findings]).toEqual(["unaddressed", []]);
    expect(remarks.join()).toContain("Queries come from 0.0.0.0, in version 3");
  });

  test("given MLD queries beside streams of IPv4 alone, then each family has its own line", () => {
    const mld = asks("fe80::1", -58_000, 26_000, { family: 6, version: 2 });
    const { queriers } = conclude(atAll([mld], -300_000));
    expect(queriers.map(({ family, state }) => [family, state])).toEqual([
      [4, "none"],
      [6, "one"],
    ]);
  });
});

describe("slow-querier", () => {
  test("given switches that by the plan forget memberships between two queries, then it is said with the arithmetic", () => {
    const site = plan("", ", membership-time: 3s");
    const { findings } = conclude(atAll([asks(CORE, -58_000, 26_000)]), site);
    expect(findings).toMatchObject([
      {
        kind: "slow-querier",
        suspects: ["core", "pier"],
        title: `The IGMP querier, ${CORE}, asks every 4.0 s, and pier keeps memberships for 3.0 s by the plan: they run out between two queries`,
      },
    ]);
    // RFC 3376, section 8.4.
    expect(findings[0]?.evidence[0]).toContain("2 x 4.0 s + 1.0 s = 9.0 s");
  });

  test("given a membership time that a single lost query ends, then that is a remark; given the standard's, then nothing", () => {
    const tight = conclude(atAll([asks(CORE, -58_000, 26_000)]), plan("", ", membership-time: 6s"));
    expect(tight.findings).toEqual([]);
    expect(tight.remarks.join()).toContain("so a single lost query or report can end one");
    const right = conclude(atAll([asks(CORE, -58_000, 26_000)]), plan("", ", membership-time: 9s"));
    expect([right.findings, right.remarks]).toEqual([[], []]);
  });

  test("given a querier in IGMPv2 that asks every 300 s, then the standard's 260 s run out, as an assumption; in IGMPv3 switches are told", () => {
    const { robustness: _, ...v2 } = asks(CORE, -1_200_000, 0, { intervalMs: 300_000, version: 2 });
    const { findings } = conclude(atAll([v2], -1_500_000));
    expect(findings).toMatchObject([{ kind: "slow-querier", confidence: 0.6 }]);
    expect(findings[0]?.title).toContain(
      "asks every 300.0 s, and switches that are not set to it keep memberships for 260.0 s",
    );
    expect(conclude(atAll([asks(CORE, -1_200_000, 0, { intervalMs: 300_000 })], -1_500_000)).findings).toEqual([]);
  });
});
