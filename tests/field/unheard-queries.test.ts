import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { MEMBERSHIP_PLAN } from "./support/membership-plan.ts";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import { accusations, findingOf, receiptOf, tell, UNBROKEN } from "./support/report-look-up.ts";

/** What looks like memberships that run out and is not, and the other way round; and a host that is too slow. */
const TRUNK = "core:1>pier:24";
const AT_TRUNK = [TRUNK, "core", "pier"];

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(MEMBERSHIP_PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

const onlySuspects = (report: RunReport, places: readonly string[]): void => {
  for (const { suspects } of accusations(report)) {
    expect(
      suspects.filter((suspect) => !places.includes(suspect)),
      tell(report),
    ).toEqual([]);
  }
};

/** The site's memberships last 4.5 s, so a run that is over before is too short for any to run out. */
test("given that nobody queries and a link is cut in mid-run, then it is a stop at that link, and no membership ran out", async () => {
  const report = await bench.run(
    `
scenario: unheard-cut
streams:
  - { name: board, source: tower, group: 239.195.60.1, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [kiosk, stand, till-a, office, vault] }
  - { at: 500ms, emit: board }
  - { at: 4s, stop: board }
`,
    { faults: ["no-querier, on: spine, silent: true", `drop, on: "${TRUNK}", share: 100 %, at: 2s`] },
  );
  const finding = findingOf(report, "stops");
  expect(finding.suspects[0], tell(report)).toBe(TRUNK);
  // That the querier is silent is so, and may be said.
  const others = accusations(report).filter((one) => one !== finding);
  for (const { kind, suspects } of others) expect([kind, suspects]).toEqual(["no-querier", ["spine"]]);
  for (const listener of ["office", "vault"]) expect(receiptOf(report, "board", listener)).toMatchObject(UNBROKEN);
});

/**
 * Behind the trunk nobody is asked. What comes from before it ends there as memberships run out; what is sent behind it is
 * flooded by the switch there, which knows of no querier any more.
 */
test("given queries that are lost on a trunk, then trunk and switches are suspects, no host is, and the flood is no row of leaks", async () => {
  const report = await bench.run(
    `
scenario: lost-queries
streams:
  - { name: board, source: tower, group: 239.195.60.2, rate: 1 Mbit/s }
  - { name: stall, source: stand, group: 239.195.60.3, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [kiosk, till-a, office] }
  - { at: 0s, join: stall, agents: [till-a] }
  - { at: 500ms, emit: all }
  - { at: 10s, stop: all }
`,
    { faults: [`drop-queries, on: "${TRUNK}"`] },
  );
  const ran = findingOf(report, "ages-out");
  expect(ran.streams, tell(report)).toEqual(["board"]);
  expect(ran.suspects[0], tell(report)).toBe(TRUNK);
  const floods = accusations(report).filter((finding) => finding !== ran);
  expect(floods.length, tell(report)).toBeLessThanOrEqual(1);
  for (const { kind, suspects } of floods) {
    expect({ kind, first: suspects[0] }, tell(report)).toEqual({ kind: "leaks", first: TRUNK });
  }
  onlySuspects(report, AT_TRUNK);
  expect(receiptOf(report, "board", "office")).toMatchObject(UNBROKEN);
});

/** Not the query interval, which is 2 s, and each shorter than a membership. */
test("given short outages at even spacing while queries are heard, then they are gaps at that link, and no membership ran out", async () => {
  const cuts = [1_000, 2_300, 3_600, 4_900].map(
    (atMs) => `drop, on: "${TRUNK}", share: 100 %, at: ${atMs}ms, until: ${atMs + 400}ms`,
  );
  const report = await bench.run(
    `
scenario: even-gaps
streams:
  - { name: board, source: tower, group: 239.195.60.4, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [kiosk, stand, till-a, office] }
  - { at: 500ms, emit: board }
  - { at: 6500ms, stop: board }
`,
    { faults: cuts },
  );
  const finding = findingOf(report, "loses");
  expect(finding.suspects[0], tell(report)).toBe(TRUNK);
  expect(accusations(report), tell(report)).toEqual([finding]);
  onlySuspects(report, [...AT_TRUNK, "pier:24>core:1"]);
  expect(receiptOf(report, "board", "office")).toMatchObject(UNBROKEN);
});

/** 1,900 packets/s for 3 s are more than the 3,600 or so that the socket of a process that stands still can hold. */
test("given a host whose program stands still for a while, then what its kernel drops is the host's own, and no link's", async () => {
  const stand = bench.practice.agents.get("stand");
  const report = await bench.run(
    `
scenario: slow-host
streams:
  - { name: board, source: tower, group: 239.195.60.5, rate: 20 Mbit/s, payload: 1316 B }
timeline:
  - { at: 0s, join: board, agents: [kiosk, stand, till-a, office] }
  - { at: 500ms, emit: board }
  - { at: 5500ms, stop: board }
`,
    {
      onProgress: (progress) => {
        if (progress.kind !== "go") return;
        setTimeout(() => stand?.signal("SIGSTOP"), progress.startsInMs + 1_500);
        setTimeout(() => stand?.signal("SIGCONT"), progress.startsInMs + 4_500);
      },
    },
  );
  const finding = findingOf(report, "host-side-loss");
  expect(finding.suspects, tell(report)).toEqual(["stand"]);
  expect(accusations(report), tell(report)).toEqual([]);
  for (const listener of ["kiosk", "till-a", "office"]) {
    expect(receiptOf(report, "board", listener).lost, listener).toBe(0);
  }
});
