import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault } from "../../../../tests/simulation/simulated-fault.ts";
import { sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";

/**
 * Which groups cross a router: RFC 5771 section 4 (224.0.0.0/24 is not forwarded, whatever the TTL), RFC 4291 section 2.7
 * (ff01 interface-local, ff02 link-local), RFC 2365 (239.0.0.0/8 may end at a boundary).
 */
const site = sketchSite(["tower--core", "core--kiosk", "core--gate", "core--rt1", "rt1--sw1", "sw1--desk"], "core");

function findingsFor(
  group: string,
  ttl: number,
  faults: readonly SimulatedFault[],
  bystanders: readonly string[] = [],
): Finding[] {
  const listeners = ["kiosk", "gate", "desk"].filter((host) => !bystanders.includes(host));
  const stream = { stream: "board", group, source: "tower", listeners, bystanders, packets: 3_000 };
  const run = simulateRun(site, [stream], faults, seededRandom(5));
  return [...locate(site, { ...run, streams: run.streams.map((one) => ({ ...one, ttl })) }).findings];
}

const DEAD_ROUTER: readonly SimulatedFault[] = [{ kind: "dead-node", node: "rt1" }];

test.each([
  ["224.0.0.251", 1],
  ["224.0.0.251", 8],
  ["ff02::fb", 1],
  ["ff12::8000:1", 8],
])(
  "scope-too-small: given %s with TTL %i and silence behind a router, then the group is to blame and no TTL is advised",
  (group, ttl) => {
    const findings = findingsFor(group, ttl, DEAD_ROUTER);
    expect(findings.map(({ kind, suspects }) => [kind, suspects])).toEqual([["scope-too-small", ["tower"]]]);
    const [{ title, advice, evidence } = { title: "", advice: "", evidence: [] }] = findings;
    expect(title).toContain("ends at rt1");
    expect([title, advice, ...evidence].join(" ")).not.toMatch(/TTL of at least|TTL \d+ would do/);
  },
);

test("scope-too-small: given an interface-local group, then nobody else can get it", () => {
  const findings = findingsFor("ff11::8000:1", 8, [{ kind: "dead-sender", host: "tower" }]);
  expect(findings.map(({ kind }) => kind)).toEqual(["scope-too-small"]);
  expect(findings[0]?.title).toContain("kiosk, gate and desk got nothing");
});

test("ttl-too-small: given a group whose scope may end at a router, then a boundary is named beside the TTL", () => {
  for (const group of ["239.195.7.1", "239.255.0.9", "ff15::8000:1", "ff18::8000:1"]) {
    const [finding] = findingsFor(group, 1, DEAD_ROUTER);
    expect(finding?.kind).toBe("ttl-too-small");
    expect(finding?.evidence.join(" ")).toContain("may be set up as the boundary");
  }
  for (const group of ["233.252.0.1", "ff1e::8000:1"]) {
    const [finding] = findingsFor(group, 1, DEAD_ROUTER);
    expect(finding?.evidence.join(" ")).not.toContain("boundary");
  }
});

test("leaks: given a link-local group at a host that has not joined, then nothing leaks: switches send it everywhere", () => {
  const flooding: readonly SimulatedFault[] = [{ kind: "flooding-node", node: "core" }];
  expect(findingsFor("224.0.0.251", 1, [...flooding, ...DEAD_ROUTER], ["gate"]).map(({ kind }) => kind)).toEqual([
    "scope-too-small",
  ]);
  expect(findingsFor("239.195.7.1", 8, flooding, ["gate"]).map(({ kind }) => kind)).toEqual(["leaks"]);
});
