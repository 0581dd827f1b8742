import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { RunObservations, SourceBreak } from "../run/run-observations.ts";

/** A source that stops by itself, or is begun anew: what it says of that is what the finding says. */
const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "core--hall"], "core");
const board = { stream: "board", group: "233.252.0.1", source: "tower", listeners: ["kiosk", "hall"], packets: 3_000 };
const healthy = simulateRun(site, [board], [], seededRandom(3));
const STOPPED: SourceBreak = {
  stoppedMs: 6_000,
  why: "the controller was not heard for 5001 ms",
  heardMs: 6_000,
  againMs: null,
};

/** As the account tells it where numbers began at 0 twice: nobody knows which numbers a host should have. */
const untold = (run: RunObservations, breaks: readonly SourceBreak[]): RunObservations => ({
  ...run,
  streams: run.streams.map((one) => ({ ...one, sentPackets: null, sourceState: "unknown", breaks })),
  listeners: run.listeners.map((one) => ({ ...one, window: null, lost: [] })),
});

const titles = (run: RunObservations): string[] => locate(site, run).findings.map(({ title }) => title);

test("a source that stopped by itself is short for the reason that it gives", () => {
  const short: RunObservations = {
    ...healthy,
    streams: healthy.streams.map((one) => ({ ...one, plannedPackets: 6_000, breaks: [STOPPED] })),
  };
  expect(titles(short)).toEqual([
    "tower stopped sending board at 6.0 s: the controller was not heard for 5001 ms. It sent 3000 packets fewer than planned",
  ]);
});

test("a source that began anew is not said to have reported nothing", () => {
  const [title, ...others] = titles(untold(healthy, [{ ...STOPPED, againMs: 11_000 }]));
  expect(others).toEqual([]);
  expect(title).toContain("tower stopped sending board at 6.0 s: the controller was not heard for 5001 ms");
  expect(title).toContain("from 11.0 s on it sent again with numbers from 0");
  expect(title).not.toContain("did not report");
});

test("a listener that reported its time in pieces is not said to have been silent, nor to have received nothing", () => {
  const run = untold(healthy, [{ ...STOPPED, againMs: 11_000 }]);
  const inPieces = { state: "no-report", isInPieces: true, receivedPackets: 0 } as const;
  const listeners = run.listeners.map((one) => (one.host === "kiosk" ? { ...one, ...inPieces } : one));
  const { findings } = locate(site, { ...run, listeners });
  expect(findings).toHaveLength(1);
  expect(findings[0]?.title).not.toContain("did not report");
  expect(findings[0]?.evidence.join(" ")).toContain("hall received 3000 packets");
  expect(findings[0]?.evidence.join(" ")).not.toContain("kiosk received");
});

test("an agent that ended without a word is told by its last report", () => {
  const [title] = titles(untold(healthy, [{ stoppedMs: null, why: null, heardMs: 9_000, againMs: 12_000 }]));
  expect(title).toContain("tower told of sending board up to 9.0 s and then nothing more");
});
