import { afterAll, beforeAll, expect, test } from "vitest";
import { MEMBERSHIP_PLAN } from "./support/membership-plan.ts";
import { inBothFamilies, type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, bystanderOf, findingOf, receiptOf, tell, UNBROKEN } from "./support/report-look-up.ts";
import { until } from "./watcher-network.ts";

/** The agents of office and lobby may not open packet sockets. */
const WITHOUT_RAW = ["setpriv", "--bounding-set=-net_raw", "--inh-caps=-net_raw", "--"];

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(MEMBERSHIP_PLAN, {
    launchers: new Map(["office", "lobby"].map((agent) => [agent, WITHOUT_RAW])),
  });
});
afterAll(() => bench[Symbol.asyncDispose]());

const quick = { source: "tower", rate: "500 kbit/s", length: "3s" };

test("to-unicast: given a port that converts, then one host's frames are all unicast and nobody else's", async () => {
  const report = await bench.run(inBothFamilies(shippedScenario("reach")), {
    parameters: quick,
    faults: ['to-unicast, on: "pier:1"'],
  });
  for (const stream of ["board-4", "board-6"]) {
    expect(receiptOf(report, stream, "kiosk").asUnicastRatio).toBe(1);
    for (const other of ["stand", "till-a", "till-b", "vault"]) {
      expect(receiptOf(report, stream, other).asUnicastRatio).toBe(0);
    }
  }
  const finding = findingOf(report, "converted-to-unicast");
  expect(finding).toMatchObject({ streams: ["board-4", "board-6"], suspects: ["pier:1>kiosk:eth0"] });
  expect(receiptOf(report, "board-4", "lobby").asUnicastRatio).toBeNull(); // nobody watched there
  expect(report.verdict).not.toBe("fail");
});

test("without CAP_NET_RAW: given agents that may not watch, then they listen, and all that a watcher would see is unknown", async () => {
  // A group of its own: the switches may still forward another run's group to those who have only just left it.
  const report = await bench.run(shippedScenario("containment"), {
    parameters: { source: "tower", group: "239.195.10.5", rate: "500 kbit/s", members: "[lobby, kiosk]", hold: "3s" },
  });
  const lobby = receiptOf(report, "board", "lobby");
  expect(lobby).toMatchObject({ ...UNBROKEN, asUnicastRatio: null, leaveDelays: null, leavesWithoutEffect: null });
  expect(lobby.received).toBeGreaterThan(100);
  expect(bystanderOf(report, "board", "office")).toMatchObject({ frames: null, firstMs: null, lastMs: null });
  expect(bystanderOf(report, "board", "vault").frames).toBe(0);
  const hearers = new Set(report.queriers.flatMap(({ heardBy }) => heardBy));
  expect([hearers.has("vault"), hearers.has("office"), hearers.has("lobby")]).toEqual([true, false, false]);
  const leaks = report.expectations.find(({ what }) => what === "leaks");
  expect(leaks).toMatchObject({ met: null, detail: expect.stringContaining("office") });
  expect(report.verdict).toBe("inconclusive");
});

test("two queriers: given one with a lower address that joins, then it is a wrong one that took over, and both are reported with their times", async () => {
  const report = await bench.run(inBothFamilies(shippedScenario("reach")), {
    parameters: { ...quick, length: "7s" },
    faults: ["second-querier, on: pier, at: 2s"],
  });
  for (const family of [4, 6] as const) {
    const queriers = report.queriers.filter((querier) => querier.family === family);
    expect(queriers).toHaveLength(2);
    const [lower, higher] = queriers.toSorted((a, b) => b.firstMs - a.firstMs);
    expect([lower?.isElected, higher?.isElected]).toEqual([true, false]);
    expect(lower?.firstMs).toBeGreaterThan(1900);
    expect(lower?.heardBy).toContain("vault");
    const told = report.notes.filter((note) => note.startsWith(`2 IPv${family} queriers were heard`));
    expect(told).toEqual([expect.stringMatching(`${lower?.address} in [A-Za-z0-9]+ \\(elected\\), first query `)]);
    const title = expect.stringContaining(`${lower?.address}, took over from ${higher?.address}`);
    expect(accusations(report), tell(report)).toContainEqual(expect.objectContaining({ kind: "wrong-querier", title }));
  }
  expect(accusations(report), tell(report)).toHaveLength(2);
});

test("host firewall: given UDP dropped on one host, then the host blocks it, and the rule is quoted", async () => {
  const report = await bench.run(shippedScenario("reach"), {
    parameters: quick,
    faults: ["host-firewall, on: kiosk, block: udp"],
  });
  const finding = findingOf(report, "host-side-block");
  expect(finding.suspects).toEqual(["kiosk"]);
  expect(finding.evidence.join(" ")).toMatch(/firewall drops UDP.*dport 48620/);
  expect(accusations(report)).toEqual([finding]);
});

test("many-groups: given a table for 16 groups, then it gives out between 16 and 17, and floods", async () => {
  // The groups that IPv6 itself needs would take room in the table. The site is not used again after this.
  for (const node of bench.site.graph.nodes.keys()) {
    const { stderr, code } = await bench.site.exec(node, ["sysctl", "-qw", "net.ipv6.conf.all.disable_ipv6=1"]);
    if (code !== 0) throw new Error(stderr);
  }
  await until("an empty group table", async () => {
    const { stdout } = await bench.site.exec("pier", ["bridge", "mdb", "show"]);
    return stdout.trim() === "" ? true : null;
  });
  const report = await bench.run(shippedScenario("many-groups"), {
    parameters: { source: "tower", members: "[kiosk]", groups: "20" },
    faults: ["table-size, on: pier, max: 16"],
    isUsedAgain: false,
  });
  const finding = findingOf(report, "leaks");
  expect(finding.suspects[0]).toBe("pier");
  expect(finding.title).toContain("The group table of pier gives out between 16 and 17 groups: from then on it floods");
  expect(accusations(report)).toEqual([finding]);
});
