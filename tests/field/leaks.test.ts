import { afterAll, beforeAll, expect, test } from "vitest";
import { MEMBERSHIP_PLAN } from "./support/membership-plan.ts";
import { inBothFamilies, type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, bystanderOf, findingOf, receiptOf, UNBROKEN } from "./support/report-look-up.ts";

/** Where frames may come without anybody's joining, and where they may not: RFC 4541, section 2.1.2. */
let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(MEMBERSHIP_PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

const MEMBERS = { source: "tower", members: "[kiosk, till-a]", rate: "500 kbit/s", hold: "3s" };
const IPV6 = { group: "ff15::8000:1" };

test("containment: given switches that snoop, then a bystander beside a member and the querier's port are no leaks", async () => {
  const report = await bench.run(inBothFamilies(shippedScenario("containment")), { parameters: MEMBERS });
  expect(accusations(report)).toEqual([]);
  expect(report.verdict).not.toBe("fail");
  for (const stream of ["board-4", "board-6"]) {
    expect(receiptOf(report, stream, "kiosk")).toMatchObject(UNBROKEN);
    expect(bystanderOf(report, stream, "till-b").frames).toBeGreaterThan(100); // on the unmanaged switch beside till-a
    expect(bystanderOf(report, stream, "lobby").frames).toBeGreaterThan(100); // on the way to the querier
    for (const agent of ["office", "stand", "vault"]) expect(bystanderOf(report, stream, agent).frames).toBe(0);
  }
});

test.each([
  ["IPv4", {}],
  ["IPv6", IPV6],
])(
  "containment, %s: given snooping off on one switch, then that switch leaks, and not the unmanaged one below it",
  async (_, group) => {
    const report = await bench.run(shippedScenario("containment"), {
      parameters: { ...MEMBERS, ...group, members: "[kiosk]" },
      faults: ["snooping-off, on: pier"],
    });
    const leak = findingOf(report, "leaks");
    expect(leak.suspects[0]).toBe("pier");
    expect(leak.suspects).not.toContain("hub");
    expect(leak.suspects.filter((suspect) => !suspect.startsWith("pier"))).toEqual([]);
    expect(accusations(report)).toEqual([leak]);
    expect(report.verdict).toBe("fail");
    for (const agent of ["stand", "till-a", "till-b"]) {
      expect(bystanderOf(report, "board", agent).frames).toBeGreaterThan(100);
    }
    for (const agent of ["office", "vault"]) expect(bystanderOf(report, "board", agent).frames).toBe(0);
  },
);

test("reach, IPv6: given everything lost on one segment, then it stops there, as over IPv4", async () => {
  const report = await bench.run(shippedScenario("reach"), {
    parameters: { source: "tower", rate: "500 kbit/s", length: "3s", ...IPV6 },
    faults: ['drop, on: "core:1>pier:24"'],
  });
  const stop = findingOf(report, "stops");
  expect(stop.suspects).toEqual(["core:1>pier:24", "pier", "pier:24>core:1"]); // what the demo finds over IPv4
  expect(receiptOf(report, "board", "till-b")).toMatchObject({ received: 0 });
  expect(receiptOf(report, "board", "office")).toMatchObject(UNBROKEN);
});
