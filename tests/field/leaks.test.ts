import { setTimeout as sleep } from "node:timers/promises";
import { loadPracticeFaults } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
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

/**
 * The kernel's bridge sends a group that nobody has joined to router ports only. Entries that stand while there is no member
 * make of it what most switches do by default: they flood such a group (RFC 4541, section 2.1.2, rule 3). Members join at 2 s
 * and leave at 8 s; the stream stops at 14 s.
 */
test("containment: given switches that flood what nobody has joined, then the run passes, with one remark that says where and when", async () => {
  const entries = [
    'static-entry, on: "core:10", group: 239.195.10.4',
    'static-entry, on: "spine:2", group: 239.195.10.4',
  ];
  const fileOf = (when: string): string =>
    `faults:\n${entries.map((one) => `  - { fault: ${one}${when} }\n`).join("")}`;
  const atFirst = loadPracticeFaults(fileOf(""), "faults.yaml", loadSitePlan(MEMBERSHIP_PLAN, "plan.yaml"));
  await bench.site.inject(atFirst);
  let lifted: Promise<void> | null = null;
  const report = await bench.run(shippedScenario("containment"), {
    // To the lobby the stream goes on after its leave: it sits on the way to the querier.
    parameters: { ...MEMBERS, members: "[kiosk, till-a, lobby]", hold: "6s" },
    faults: fileOf(", at: 11s"),
    onProgress: (progress) => {
      if (progress.kind === "go") lifted = sleep(progress.startsInMs + 500).then(() => bench.site.lift(atFirst));
    },
  });
  await lifted;
  expect(accusations(report)).toEqual([]);
  expect(report.verdict).not.toBe("fail");
  for (const agent of ["office", "vault"]) expect(bystanderOf(report, "board", agent).frames).toBeGreaterThan(10);
  const remarks = report.notes.filter((note) => note.includes("RFC 4541"));
  expect(remarks).toHaveLength(1);
  expect(remarks[0]).toMatch(/^(core and spine|spine and core) flooded board from 0[0-9.]+ s to 1[0-9.]+ s of the run/);
  expect(remarks[0]).toContain("office and vault saw up to");
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
