import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { RunObservations, SeqRange } from "../run/run-observations.ts";
import { EVEN_CHI_SQUARE } from "./even-loss.ts";

const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--desk", "core--hall"], "core");
const segment = segmentBetween(site, "core", "sw-east");
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "desk", "hall"],
  packets: 4_000,
  packetsPerSecond: 1_000,
};
const findings = (faults: readonly SimulatedFault[], seed: number): readonly Finding[] =>
  locate(site, simulateRun(site, [board], faults, seededRandom(seed))).findings;

test("EVEN_CHI_SQUARE: given the series of the incomplete gamma function, then it is the quantile of 1 in 10,000", () => {
  // P(a, x) = x^a e^-x SUM x^n / G(a + n + 1), DLMF 8.7.1, for a = 19 / 2; G(10.5) = 654729075 sqrt(pi) / 1024.
  const [a, x] = [9.5, EVEN_CHI_SQUARE / 2];
  let term = 1 / ((654_729_075 * Math.sqrt(Math.PI)) / 1024);
  let sum = 0;
  for (let n = 0; n < 100; n++) {
    sum += term;
    term *= x / (a + n + 1);
  }
  expect(x ** a * Math.exp(-x) * sum).toBeCloseTo(1e-4, 6);
});

test.each([0.45, 0.62, 0.77, 0.92])(
  "rate-limited: given a run at one rate of which a policer passes %f, then the segment is named, and what passes",
  (share) => {
    const [finding, ...others] = findings(
      [{ kind: "policer", segment, passedPerSecond: 1_000 * share, depthPackets: 20 }],
      1,
    );
    expect(others).toEqual([]);
    expect(finding?.kind).toBe("rate-limited");
    expect(finding?.suspects[0]).toBe(segment);
    expect(finding?.title).toMatch(/is cut to about [0-9.]+ Mbit\/s between core:2 and sw-east:1/);
    const told = Number(/about ([0-9.]+) Mbit/.exec(finding?.title ?? "")?.[1]) * 1e6;
    expect(told / (rateOf() * share)).toBeGreaterThan(0.98);
    expect(told / (rateOf() * share)).toBeLessThan(1.02);
  },
);

const rateOf = (): number => simulateRun(site, [board], [], seededRandom(1)).streams[0]?.steps[0]?.rateBps ?? 0;

test("loses: given losses by chance or in bursts, sixty times, then no limit is made of them", () => {
  for (let seed = 1; seed <= 60; seed++) {
    const ratio = 0.03 + (seed % 20) / 40;
    const burstPackets = seed % 3 === 0 ? 4 : 1;
    const kinds = findings([{ kind: "loss", segment, ratio, burstPackets }], seed).map(({ kind }) => kind);
    expect(kinds).not.toContain("rate-limited");
  }
});

/** Everybody behind the segment misses these numbers. */
function missing(lost: readonly SeqRange[]): RunObservations {
  const run = simulateRun(site, [board], [], seededRandom(1));
  const packets = lost.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  return {
    ...run,
    listeners: run.listeners.map((one) =>
      one.host === "hall" ? one : { ...one, lost, receivedPackets: one.receivedPackets - packets },
    ),
  };
}

test("loses: given every tenth packet dropped, then it is counted out and no limit, and the reader hears what would tell", () => {
  const tenth = Array.from({ length: 400 }, (_, i): SeqRange => [10 * i + 3, 10 * i + 3]);
  const [finding, ...others] = locate(site, missing(tenth)).findings;
  expect(others).toEqual([]);
  expect(finding?.kind).toBe("loses");
  expect(finding?.evidence.join(" ")).toContain("the scenario rate-steps tells which");
});

test("loses: given short bursts at even times, then they are no limit", () => {
  const bursts = Array.from({ length: 80 }, (_, i): SeqRange => [50 * i + 3, 50 * i + 7]);
  const [finding] = locate(site, missing(bursts)).findings;
  expect(finding?.kind).toBe("loses");
  expect(finding?.evidence.join(" ")).not.toContain("rate-steps");
});
