import { readFileSync } from "node:fs";
import { afterAll, beforeAll, expect, test } from "vitest";
import { inTurn } from "./support/in-turn.ts";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import { accusations, findingOf, receiptOf, UNBROKEN } from "./support/report-look-up.ts";

/**
 * What comes twice, what a limit cuts in a run at one rate, and what all UDP loses: put in by the kernel's own means
 * (nftables `dup`, tc's token bucket, nftables' random numbers), against what is then said of the place and of its cause.
 */
const PLAN = readFileSync(new URL("../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const LINK = "core:1>pier-east:24";

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

const scenario = (group: string, rate: string, stopMs: number, more = ""): string => `
scenario: one-rate
streams:
  - { name: board, source: tower, group: ${group}, rate: ${rate}${more} }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: ${stopMs}ms, stop: board }
expect: { duplicates: 0 % }
`;

test.each([
  ["every packet", "share: 100 %", "239.195.43.1", 100],
  ["every fourth packet", "every: 4", "239.195.43.2", 25],
])(
  "duplicates: given %s doubled on one link, then that link is named, with how many copies",
  async (_, what, group, inHundred) => {
    const report = await bench.run(scenario(group, "2 Mbit/s", 3_000), {
      faults: [`duplicate, on: "${LINK}", ${what}`],
    });
    const finding = findingOf(report, "duplicates");
    expect(finding.suspects).toEqual([LINK, "pier-east"]);
    expect(finding.title).toMatch(/^board comes more than once at kiosk-1 and kiosk-2, /);
    const told = Number(/, ([0-9.]+) copies to 100 packets/.exec(finding.title)?.[1]);
    expect(Math.abs(told - inHundred)).toBeLessThan(1);
    expect(accusations(report)).toEqual([finding]);
    expect(report.verdict).toBe("fail");
    expect(receiptOf(report, "board", "kiosk-1")).toMatchObject(UNBROKEN);
  },
);

test("rate-limited: given a token bucket below the only rate of the run, then it is named, with the rate that passes", async () => {
  const limited = "core:3>hall:24";
  const report = await inTurn(() =>
    bench.run(scenario("239.195.43.3", "4 Mbit/s", 8_500), {
      faults: [`rate-limit, on: "${limited}", rate: 3 Mbit/s`],
    }),
  );
  const finding = findingOf(report, "rate-limited");
  expect(finding.suspects[0]).toBe(limited);
  // tbf counts the frame: 14 B Ethernet, 20 B IPv4 and 8 B UDP (RFC 791, RFC 768) beside 1316 B of payload.
  const passesBps = (3e6 * 1316) / (1316 + 14 + 20 + 8);
  const told = Number(/about ([0-9.]+) Mbit\/s/.exec(finding.title)?.[1]) * 1e6;
  expect(told / passesBps, finding.title).toBeGreaterThan(0.95);
  expect(told / passesBps, finding.title).toBeLessThan(1.05);
  expect(accusations(report)).toEqual([finding]);
});

test("companion: given 3 % of all UDP lost on a link, then nobody says that the fault is multicast's", async () => {
  const report = await bench.run(scenario("239.195.43.4", "4 Mbit/s", 6_500, ", companion: true"), {
    faults: [`drop, on: "${LINK}", share: 3 %`],
  });
  const finding = findingOf(report, "loses");
  expect(finding.suspects[0]).toBe(LINK);
  // Sixty companion packets, of which two are lost in the mean: too few to tell from 3 %.
  expect(finding.evidence.join("\n")).toMatch(/Unicast from the same source/);
  expect(finding.evidence.join("\n")).not.toContain("the fault is multicast's");
});
