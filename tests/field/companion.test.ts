import { readFileSync } from "node:fs";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import { accusations, findingOf } from "./support/report-look-up.ts";

/** A stream with unicast beside it: nftables drops either everything on a link or one group, and only that may tell. */
const PLAN = readFileSync(new URL("../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const LINK = "core:1>pier-east:24";

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

const scenario = (group: string): string => `
scenario: with-companion
streams:
  - { name: board, source: tower, group: "${group}", rate: 1 Mbit/s, companion: true }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: 4500ms, stop: board }
expect: { loss: 0 % }
`;

test.each([
  ["IPv4", "239.195.42.1"],
  ["IPv6", "ff15::42:1"],
])(
  "companion, %s: given one group dropped on a link, then unicast comes through and the fault is multicast's",
  async (_, group) => {
    const report = await bench.run(scenario(group), {
      faults: [`drop, on: "${LINK}", group: "${group}", share: 100 %`],
    });
    const finding = findingOf(report, "stops");
    expect(finding.suspects[0]).toBe(LINK);
    const told = finding.evidence.find((sentence) => sentence.startsWith("Unicast from the same source comes through"));
    expect(told, finding.evidence.join("\n")).toMatch(/4[0-9] of 4[0-9] packets to kiosk-1/); // 10 packets/s for 4 s
    expect(told).toContain("to kiosk-2");
    // The companions are no streams of the run's own.
    expect(report.streams.map(({ name }) => name)).toEqual(["board"]);
    expect(new Set(report.receipts.map(({ stream }) => stream))).toEqual(new Set(["board"]));
  },
);

test("companion: given everything dropped on a link, then unicast fails too, and the advice says where to look first", async () => {
  const report = await bench.run(scenario("239.195.42.2"), { faults: [`drop, on: "${LINK}", share: 100 %`] });
  const finding = findingOf(report, "stops");
  expect(finding.suspects[0]).toBe(LINK);
  expect(finding.evidence.join("\n")).toMatch(/Unicast from the same source fails too: 0 of 4[0-9] packets to kiosk-1/);
  expect(finding.advice).toContain("Unicast does not come through either");
});

test("companion: given no fault, then nothing is accused", async () => {
  const report = await bench.run(scenario("239.195.42.3"));
  expect(accusations(report)).toEqual([]);
  expect(report.verdict).toBe("pass");
});
