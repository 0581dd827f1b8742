import { setTimeout as sleep } from "node:timers/promises";
import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import {
  DESKS,
  expectDeafRouterNamed,
  expectReportsWayNamed,
  hopsBetween,
  only,
  ROUTED_DEMO,
  silentHosts,
  streamNames,
  vlanOf,
} from "./support/routed-demo.ts";

/**
 * Faults of routed sites, in both families, each put in alone. What must be named is where the fault was put; what must
 * not be named is anything else.
 */

/**
 * Sources in every VLAN. Two in VLAN 10 send to the same groups, so that a group and a source can be told apart; one
 * stream is joined with its source beside those that are joined without.
 */
const STREAMS: readonly (readonly [name: string, source: string, group: string, port: number])[] = [
  ["tower-4", "tower", "239.195.20.1", 48621],
  ["tower-6", "tower", "ff15::8000:1", 48621],
  ["tower-s", "tower", "232.195.20.1", 48621],
  ["board-4", "board-1", "239.195.20.1", 48622],
  ["board-6", "board-1", "ff15::8000:1", 48622],
  ["till-4", "till-1", "239.195.20.2", 48621],
  ["desk-4", "desk-1", "239.195.20.3", 48621],
  ["desk-6", "desk-2", "ff15::8000:2", 48621],
];
const streamsWith = (settings: string): string =>
  STREAMS.map(
    ([name, source, group, port]) =>
      `  - { name: ${name}, source: ${source}, group: "${group}", port: ${port}, rate: 400 kbit/s, ${settings}${name.endsWith("-s") ? ", ssm: true" : ""} }`,
  ).join("\n");
const scenario = (ttl: number, stopS = 4): string => `scenario: routed
streams:
${streamsWith(`ttl: ${ttl}`)}
timeline:
  - { at: 0s, join: all, agents: all }
  - { at: 1s, emit: all }
  - { at: ${stopS}s, stop: all }
expect: { loss: 0 %, duplicates: 0 % }
`;
const SIZES = `scenario: sizes
streams:
${streamsWith("ttl: 8, payload: 400 B")}
timeline:
  - { at: 0s, join: all, agents: all }
  - { at: 1s, emit: all }
  - { at: 3s, set: all, payload: 1300 B }
  - { at: 6s, stop: all }
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(ROUTED_DEMO);
});
afterAll(() => bench?.[Symbol.asyncDispose]());

/** Every packet's TTL tells the routers it passed: the hop count that the plan gives (RFC 1812 section 5.3.1). */
const expectHopsOfPlan = (report: RunReport): void => {
  const came = report.receipts.filter(({ received }) => (received ?? 0) > 0);
  const sourceOf = new Map(STREAMS.map(([name, source]) => [name, source]));
  expect(came.map(({ stream, listener, hops }) => [stream, listener, hops])).toEqual(
    came.map(({ stream, listener }) => [stream, listener, hopsBetween(sourceOf.get(stream) ?? "", listener)]),
  );
};

test("routed site: given no fault, then everyone gets everything in every VLAN and across, and hops are the plan's", async () => {
  const report = await bench.run(scenario(8));
  expect(report.findings).toEqual([]);
  expect(report.verdict).toBe("pass");
  expect(report.receipts).toHaveLength(STREAMS.length * 11);
  expectHopsOfPlan(report);
});

test("routed site: given nobody joined beyond the routers, then no frame of the stream comes into those VLANs", async () => {
  const report = await bench.run(`scenario: contained
streams: [{ name: tower-4, source: tower, group: 239.195.20.9, rate: 250 kbit/s, ttl: 8 }]
timeline:
  - { at: 0s, join: tower-4, agents: [board-1, kiosk-1] }
  - { at: 1s, emit: tower-4 }
  - { at: 4s, stop: tower-4 }
expect: { loss: 0 %, leaks: none }
`);
  expect(report.findings).toEqual([]);
  expect(report.verdict).toBe("pass");
  const seen = report.bystanders.filter(({ frames }) => (frames ?? 0) > 0).map(({ agent }) => agent);
  expect(seen).toEqual([]);
});

test.each([
  [1, "tower", "router-a", 3],
  [1, "till-1", "router-", 2],
  [1, "desk-1", "router-b", 3],
  [2, "tower", "router-b", 3],
  [2, "desk-1", "router-a", 3],
] as const)(
  "routed site: given TTL %i from %s, then the finding says that it ends at %s and that TTL %i would do",
  async (ttl, source, router, needed) => {
    const report = await ttlRun(ttl);
    const findings = report.findings.filter(({ suspects }) => suspects.includes(source));
    expect(findings.length).toBeGreaterThan(0);
    for (const { kind, title, suspects } of findings) {
      expect([kind, suspects]).toEqual(["ttl-too-small", [source]]);
      expect(title).toContain(`TTL ${ttl} ends at ${router}`);
      expect(title).toContain(`hop ${ttl}`);
      expect(title).toContain(`TTL ${needed} would do`);
    }
    expect(report.findings.every(({ kind }) => kind === "ttl-too-small")).toBe(true);
    expectHopsOfPlan(report);
  },
);
const ttlRuns = new Map<number, Promise<RunReport>>();
function ttlRun(ttl: number): Promise<RunReport> {
  const known = ttlRuns.get(ttl) ?? bench.run(scenario(ttl));
  ttlRuns.set(ttl, known);
  return known;
}

test("routed site: given a route to one source through another interface, then the router is named, for that source alone", async () => {
  let wrongInterface = 0;
  let isOver = false;
  const watch = async (): Promise<void> => {
    for (; !isOver; await sleep(200)) {
      wrongInterface = Math.max(wrongInterface, await packetsAtWrongInterface("router-b", "tower"));
    }
  };
  const watching = watch();
  const faults = ["reverse-path, on: router-b, source: tower"];
  const report = await bench.run(scenario(8), { faults }).finally(() => {
    isOver = true;
  });
  await watching;
  const finding = only(report);
  expect([finding.kind, finding.suspects]).toEqual(["source-specific", ["router-b"]]);
  expect(streamNames(finding)).toEqual(["tower-4", "tower-6", "tower-s"]);
  expect(finding.title).toContain("drops what tower sends");
  expect(finding.advice).toContain("reverse-path check");
  expect(silentHosts(report)).toEqual(DESKS);
  expect(wrongInterface).toBeGreaterThan(0); // it is the kernel's own check that failed
});

/** The kernel's own count: Group Origin Iif Pkts Bytes Wrong, addresses as it prints numbers in network order. */
async function packetsAtWrongInterface(router: string, source: string): Promise<number> {
  const bytes = bench.site.addressOf(source).ipv4.split(".").toReversed();
  const origin = bytes.map((byte) => Number(byte).toString(16).padStart(2, "0").toUpperCase()).join("");
  const { stdout } = await bench.site.exec(router, ["cat", "/proc/net/ip_mr_cache"]);
  const entries = stdout.split("\n").map((line) => line.trim().split(/\s+/));
  return Math.max(0, ...entries.filter((entry) => entry[1] === origin).map((entry) => Number(entry[5])));
}

test("routed site: given a router that hears no reports in one VLAN, then its links there are named, and nothing else", async () => {
  const report = await bench.run(scenario(8), { faults: ['drop-reports, on: "hall:20>router-b:lan", vlan: 30'] });
  expectDeafRouterNamed(report, ["board-4", "board-6", "till-4", "tower-4", "tower-6", "tower-s"]);
});

test("routed site: given a VLAN cut on the way back of the reports, then that link and VLAN are named, and no other VLAN", async () => {
  const report = await bench.run(scenario(8), { faults: ['drop, on: "pier-east:24>core:1", vlan: 20'] });
  expectReportsWayNamed(report);
});

test("routed site: given a router that does not forward one group, then that router is among the suspects, for that group alone", async () => {
  const report = await bench.run(scenario(8), { faults: ["not-forwarding, on: router-a, group: 239.195.20.1"] });
  const finding = only(report);
  expect(finding.kind).toBe("group-specific");
  expect(streamNames(finding)).toEqual(["board-4", "tower-4"]);
  expect(finding.suspects).toContain("router-a");
  // Only what no listener can tell from the router: its two links, the switch that the packets come back to, and the other
  // router in that VLAN, which has the higher address there and may be the one that answers for it.
  for (const suspect of finding.suspects) expect(suspect).toMatch(/router-a|^core vlan 20$|^router-b$/);
});

test("routed site: given a VLAN missing on a trunk, then the link and the VLAN are named, and other VLANs on it are not", async () => {
  const report = await bench.run(scenario(8), { faults: ['vlan-missing, on: "core:1>pier-east:24", vlan: 20'] });
  const finding = only(report);
  expect(finding.kind).toBe("stops");
  expect(finding.suspects[0]).toBe("core:1>pier-east:24 vlan 20");
  expect(finding.suspects.every((suspect) => suspect.endsWith(" vlan 20"))).toBe(true);
  expect(finding.title).toContain("between core:1 and pier-east:24 in VLAN 20");
  expect(finding.title).toContain("kiosk-1 and kiosk-2 got nothing");
  const states = new Map(report.segments.map(({ id, status }) => [id, status]));
  expect(states.get("core:1>pier-east:24 vlan 20")).toBe("stops");
  expect(states.get("core:1>pier-east:24 vlan 10")).toBe("ok");
});

test("routed site: given a cut trunk, then the link as a whole is named", async () => {
  const report = await bench.run(scenario(8), { faults: ['drop, on: "core:1>pier-east:24"'] });
  const finding = only(report);
  expect(finding.kind).toBe("stops");
  expect(finding.suspects[0]).toBe("core:1>pier-east:24");
  expect(finding.suspects.some((suspect) => suspect.includes("vlan"))).toBe(false);
  expect(finding.title).toContain("board-1, kiosk-1 and kiosk-2 got nothing");
});

test("routed site: given an access list on a routed hop, then the segments around that hop are named", async () => {
  const report = await bench.run(scenario(8), { faults: ['access-list, on: "core:20>router-a:lan10"'] });
  const finding = only(report);
  expect(finding.kind).toBe("stops");
  expect(finding.suspects[0]).toBe("core:20>router-a:lan10");
  expect(streamNames(finding)).toEqual(["board-4", "board-6", "tower-4", "tower-6", "tower-s"]);
  for (const suspect of finding.suspects) expect(suspect).toContain("router-a:");
});

test("routed site: given an access list for one source, then the router is named for that source alone", async () => {
  const report = await bench.run(scenario(8), {
    faults: ['access-list, on: "core:20>router-a:lan10", source: tower'],
  });
  const finding = only(report);
  // The other one has the higher address in VLAN 20, and may be the one that answers for it.
  expect([finding.kind, finding.suspects]).toEqual(["source-specific", ["router-a", "router-b"]]);
});

test("routed site: given a smaller MTU on a routed hop, then the size and the hop are named, in both families", async () => {
  const report = await bench.run(SIZES, { faults: ['mtu, on: "router-a:lan20", size: 1300 B'] });
  const finding = only(report);
  expect(finding.kind).toBe("size-limited");
  expect(finding.streams).toEqual(expect.arrayContaining(["board-4", "board-6", "tower-4", "tower-6", "tower-s"]));
  expect(finding.suspects).toContain("router-a:lan20>core:21");
  for (const suspect of finding.suspects) expect(suspect).toMatch(/router-a|^core vlan 20$/);
});

test("routed site: given a querier that falls silent in one VLAN, then its memberships run out, the querier is named, and no other VLAN", async () => {
  const report = await bench.run(scenario(8, 11), { faults: ["no-querier, on: core, vlan: 20, silent: true"] });
  const findings = report.findings;
  expect(findings.length).toBeGreaterThan(0);
  for (const finding of findings) {
    expect(["ages-out", "no-querier"]).toContain(finding.kind);
    expect(finding.suspects).toEqual(["core vlan 20"]);
  }
  expect(findings.some(({ kind }) => kind === "ages-out")).toBe(true);
  const hit = report.receipts.filter(({ lost }) => (lost ?? 0) > 0).map(({ listener }) => vlanOf(listener));
  expect(new Set(hit)).toEqual(new Set([20]));
});
