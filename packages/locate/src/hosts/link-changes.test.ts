import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { RunObservations } from "../run/run-observations.ts";

const site = sketchSite(["tower--core", "core--kiosk", "core--hall", "core--gate"], "core");
const board = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "hall", "gate"],
  packets: 3_000,
};
const CHANGED = "The link of kiosk itself went down or came up within 10.0 s to 11.0 s and 13.0 s to 14.0 s.";
const linkChanges = [
  { host: "kiosk", fromMs: 10_000, toMs: 11_000 },
  { host: "kiosk", fromMs: 13_000, toMs: 14_000 },
];

/** kiosk misses what was sent from 10.2 to 13.4 s, 10 ms a packet. */
function withGap(): RunObservations {
  const run = simulateRun(site, [board], [], seededRandom(2));
  const lost = [[1_020, 1_339]] as const;
  return {
    ...run,
    listeners: run.listeners.map((one) => (one.host === "kiosk" ? { ...one, lost, receivedPackets: 2_680 } : one)),
  };
}

test("link changes: given a gap at a host whose own link went down, then the finding shows that, and no remark repeats it", () => {
  const { findings, remarks } = locate(site, { ...withGap(), linkChanges });
  expect(findings).toMatchObject([{ kind: "loses" }]);
  expect(findings[0]?.evidence).toContain(CHANGED);
  expect(remarks).toEqual([]);
});

test("link changes: given one at a host of which nothing is found, then it is a remark", () => {
  const { findings, remarks } = locate(site, { ...simulateRun(site, [board], [], seededRandom(2)), linkChanges });
  expect(findings).toEqual([]);
  expect(remarks).toEqual([CHANGED]);
  const other = locate(site, { ...withGap(), linkChanges: [{ host: "hall", fromMs: 1_000, toMs: 2_000 }] });
  expect(other.findings[0]?.evidence.join(" ")).not.toContain("went down");
  expect(other.remarks).toHaveLength(1);
});
