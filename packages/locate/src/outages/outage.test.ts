import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { RunObservations, SeqRange } from "../run/run-observations.ts";

// One place, one cause, one finding: seen on a packet filter that let nothing through four times, once for 0.1 s only.
const SITE = sketchSite(
  ["tower--core", "core--sw1", "core--sw2", "sw1--kiosk", "sw1--desk", "sw2--hall", "sw2--gate"],
  "core",
);
const HOSTS = ["kiosk", "desk", "hall", "gate"];
const BOARD = { stream: "board", group: "233.252.0.1", source: "tower", listeners: HOSTS, packets: 3_000 };
const sound = simulateRun(SITE, [BOARD], [], seededRandom(5));

const missing = (run: RunObservations, hosts: readonly string[], lost: readonly SeqRange[]): RunObservations => ({
  ...run,
  listeners: run.listeners.map((one) =>
    hosts.includes(one.host)
      ? { ...one, lost, receivedPackets: 3_000 - lost.reduce((sum, [from, to]) => sum + to - from + 1, 0) }
      : one,
  ),
});

function only(run: RunObservations): Finding {
  const { findings } = locate(SITE, run);
  expect(findings.map(({ title }) => title)).toHaveLength(1);
  return findings[0] as Finding;
}

test("outages: given one more gap that is too short for an outage, then it counts among the others", () => {
  const gaps: SeqRange[] = [
    [400, 439],
    [800, 839],
    [1_200, 1_209],
    [1_600, 1_640],
  ];
  expect(only(missing(sound, ["desk"], gaps)).title).toContain("had 4 gaps of up to 0.40 s");
  const shared = only(missing(sound, ["kiosk", "desk"], gaps));
  expect(shared.title).toContain("had 4 gaps of up to 0.40 s");
  expect(shared.suspects[0]).toBe(segmentBetween(SITE, "core", "sw1"));
});

test("outages: given hosts that lost a little more at the ends of a shared gap, then that is no loss of its own", () => {
  const first = missing(sound, ["kiosk"], [[400, 439]]);
  expect(
    only(
      missing(
        first,
        ["desk"],
        [
          [395, 397],
          [399, 443],
        ],
      ),
    ).title,
  ).toContain("had a gap");
});

const GAP: SeqRange = [800, 839];
const single = Array.from({ length: 40 }, (_, i): SeqRange => [70 * i + 7, 70 * i + 7]).filter(
  ([seq]) => seq < GAP[0] || seq > GAP[1],
);

test("outages: given losses besides at the same place, then they are told with the outages", () => {
  const finding = only(
    missing(
      sound,
      ["desk"],
      [...single, GAP].sort(([a], [b]) => a - b),
    ),
  );
  expect(finding.title).toContain("had a gap of up to 0.39 s");
  expect(finding.evidence.join(" ")).toContain("board loses 1.35 %");
});

test("outages: given losses at another place, then they are a finding of their own", () => {
  const { findings } = locate(SITE, missing(missing(sound, ["desk"], [GAP]), ["hall"], single));
  expect(findings.map(({ suspects }) => suspects[0])).toEqual([
    segmentBetween(SITE, "sw1", "desk"),
    segmentBetween(SITE, "sw2", "hall"),
  ]);
});
