import { expect, test } from "vitest";
import { playLeak } from "../../../tests/simulation/leak-scene.ts";
import { playLoss } from "../../../tests/simulation/loss-scene.ts";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { drawStopScene, playStops } from "../../../tests/simulation/stop-scene.ts";

/**
 * The bench in small (tests/bench/locate runs it in full): random sites, agents and faults; the truth is what was put
 * in. Seeded, so that a failure comes back.
 */
test.each([1, 2])(
  "scoring: given %i faults on random sites, then every one is among the suspects and nothing else is blamed",
  (count) => {
    const random = seededRandom(count);
    let [faults, found, falseBlame] = [0, 0, 0];
    for (let sites = 0; sites < 40; ) {
      const outcome = playStops(drawStopScene(random, 5, 80), count, random);
      if (outcome === null) continue;
      sites++;
      faults += outcome.faults.length;
      found += outcome.found.length;
      falseBlame += outcome.falseBlame.length;
    }
    expect(found / faults).toBeGreaterThanOrEqual(count === 1 ? 1 : 0.97);
    expect(falseBlame).toBeLessThanOrEqual(count === 1 ? 0 : 2);
  },
);

test("scoring: given one dead segment or node, then nobody is suspect whom the plan can tell from it", () => {
  const random = seededRandom(3);
  let judged = 0;
  for (let sites = 0; sites < 120; sites++) {
    const outcome = playStops(drawStopScene(random, 8, 40, 12), 1, random);
    if (outcome === null || outcome.isSharp === null) continue;
    judged++;
    expect(outcome.isSharp).toBe(true);
  }
  expect(judged).toBeGreaterThan(10);
});

test("scoring: given sound sites with 0.001 per cent background loss, then nobody is blamed", () => {
  const random = seededRandom(4);
  const scene = { leastNodes: 5, mostNodes: 100, packets: 10_000, lossyShare: 0, mostRatio: 0, background: 1e-5 };
  for (let site = 0; site < 60; site++) expect(playLoss({ ...scene, burstPackets: 1 }, random).falseBlame).toEqual([]);
});

test.each([1, 5])(
  "scoring: given losses in runs of %i on average, then the 95 per cent intervals hold the truth",
  (burstPackets) => {
    const random = seededRandom(50 + burstPackets);
    const scene = { leastNodes: 8, mostNodes: 40, packets: 10_000, lossyShare: 0.5, mostRatio: 0.05, background: 2e-4 };
    const outcomes = Array.from({ length: 60 }, () => playLoss({ ...scene, burstPackets }, random));
    const checks = outcomes.flatMap((outcome) => outcome.intervals);
    const held = checks.filter((c) => c.trueRatio >= c.low && c.trueRatio <= c.high).length / checks.length;
    // 95 per cent with the spread of so many draws, of which those of one site hang together.
    expect(checks.length).toBeGreaterThan(500);
    expect(held).toBeGreaterThan(0.92);
    expect(held).toBeLessThan(0.985);
    expect(outcomes.reduce((sum, o) => sum + o.found, 0)).toBe(outcomes.reduce((sum, o) => sum + o.lossy, 0));
  },
);

test("scoring: given one leaking switch or port, then it is among the suspects; given none, then nothing is named", () => {
  const random = seededRandom(6);
  for (let seen = 0; seen < 60; ) {
    const outcome = playLeak(true, random);
    if (outcome === null) continue;
    seen++;
    expect(outcome.isFound).toBe(true);
    expect(outcome.falseBlame).toEqual([]);
  }
  for (let site = 0; site < 40; site++) expect(playLeak(false, random)?.findings).toEqual([]);
});
