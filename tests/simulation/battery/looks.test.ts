import { loadSitePlan } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { type Decided, runUntilDecided } from "../../../controller/src/commands/client/until-decided.ts";
import { binomialTest } from "../../../controller/src/compare/binomial-test.ts";
import { LOSS_STEP, type Loss } from "../../../controller/src/compare/compare-loss.ts";
import { planLooks } from "../../../controller/src/compare/looks/plan-looks.ts";
import { poolRuns } from "../../../controller/src/compare/pooled/pool-runs.ts";
import { normalDeviate } from "../../../controller/src/compare/rank-sum-test.ts";
import { differenceInterval } from "../../../controller/src/compare/ratio-difference.ts";
import { drawLosses } from "../draw-losses.ts";
import { type Random, seededRandom } from "../seeded-random.ts";
import { BATTERY_PLAN, type BatteryFault, drawRun, SHAPES } from "./draw-battery.ts";

/** Can be raised by hand: DYETRACE_LOOKS=20000. */
const SEQUENCES = Number(process.env["DYETRACE_LOOKS"] ?? "1000");
const PACKETS = 1900;
const MOST_RUNS = 46;

/** One run of the shipped reach. */
function draw(ratio: number, random: Random): Loss {
  const gaps = drawLosses(PACKETS, ratio, 1, random);
  const lost = gaps.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  return { sent: PACKETS, lost, events: lost };
}
const add = (a: Loss, b: Loss): Loss => ({ sent: a.sent + b.sent, lost: a.lost + b.lost, events: a.events + b.events });

/** Of many comparisons that grow run by run, the share in which `says` is so at one of the looks. */
function shareOf(
  ratios: readonly [before: number, after: number],
  says: (before: Loss, after: Loss) => boolean,
): number {
  const random = seededRandom(5);
  let count = 0;
  for (let sequence = 0; sequence < SEQUENCES; sequence++) {
    let before = draw(ratios[0], random);
    for (let run = 1; run < 10; run++) before = add(before, draw(ratios[0], random));
    let after: Loss = { sent: 0, lost: 0, events: 0 };
    let runs = 0;
    const isSaid = planLooks(MOST_RUNS).after.some((look) => {
      for (; runs < look; runs++) after = add(after, draw(ratios[1], random));
      return says(before, after);
    });
    if (isSaid) count += 1;
  }
  return count / SEQUENCES;
}

const isOtherAt = (level: number) => (before: Loss, after: Loss) =>
  Math.abs(after.lost / after.sent - before.lost / before.sent) >= LOSS_STEP &&
  binomialTest(after.events, before.events + after.events, after.sent / (before.sent + after.sent)) <= level;

const share = ({ lost, sent }: Loss) => ({ hits: lost, trials: sent });
const isNoWorseAt = (level: number) => (before: Loss, after: Loss) =>
  differenceInterval(share(before), share(after), normalDeviate(level)).high < LOSS_STEP;

test("planLooks: given a bound, then looks at half as many runs again each time, the last at the bound, each with its share of the level", () => {
  expect(planLooks(1)).toEqual({ after: [1], level: 0.05 });
  expect(planLooks(MOST_RUNS)).toEqual({ after: [1, 2, 3, 4, 6, 9, 13, 19, 28, 42, 46], level: 0.05 / 11 });
});

test("looks: given the same site that loses 1 %, looked at again and again, then a false alarm in one of twenty at most; without the correction in more", () => {
  expect(shareOf([0.01, 0.01], isOtherAt(planLooks(MOST_RUNS).level))).toBeLessThanOrEqual(0.05);
  // That the looks need a correction at all: the same tests at 5 % each.
  expect(shareOf([0.01, 0.01], isOtherAt(0.05))).toBeGreaterThan(0.1);
});

test("looks: given a site that loses a twentieth of a per cent more, then that it does not is said of one in twenty at most", () => {
  expect(shareOf([0.001, 0.001 + LOSS_STEP], isNoWorseAt(planLooks(MOST_RUNS).level))).toBeLessThanOrEqual(0.05);
});

const GRAPH = loadSitePlan(BATTERY_PLAN, "plan.yaml");
const [REACH] = SHAPES;
const LASTS_NS = 11e9;

async function decide(
  before: RunReport,
  faults: readonly BatteryFault[],
  atMostNs = 10 * 60e9,
  changed: (report: RunReport, run: number) => RunReport = (report) => report,
) {
  if (REACH === undefined) throw new Error("there is no reach");
  const random = seededRandom(11);
  const said: string[] = [];
  let [nowMs, runs] = [0, 0];
  const decided: Decided = await runUntilDecided({
    before,
    graph: GRAPH,
    lastsNs: LASTS_NS,
    atMostNs,
    runOnce: async () => {
      nowMs += LASTS_NS / 1e6 + 1000;
      return changed(drawRun(REACH, faults, 0, random), ++runs);
    },
    isStopped: () => false,
    nowMs: () => nowMs,
    say: (sentence) => said.push(sentence),
  });
  return { ...decided, said };
}

function reaches(count: number): RunReport {
  if (REACH === undefined) throw new Error("there is no reach");
  const random = seededRandom(3);
  return poolRuns(Array.from({ length: count }, () => drawRun(REACH, [], 0, random)));
}

test("run --until-decided: given nothing that changed, then it says beforehand how many runs it takes, and takes so many", async () => {
  const { comparison, reports, said } = await decide(reaches(1), []);
  const told = /^At most 54 runs in 10 min\. (\d+) runs, .* in all, decide if nothing has changed\.$/.exec(
    said[0] ?? "",
  );
  expect(told?.[1]).toBe(String(reports.length));
  expect(said[1]).toMatch(
    /^Not decided after one run: \d+ more runs, .*, settle it at kiosk-1 if the loss stays as it is\.$/,
  );
  expect(comparison.outcome).toBe("same");
  expect(comparison.excluded).toContain("a rise of loss of 0.05 percentage points or more at every listener");
});

test("run --until-decided: given that a listener's agent was not heard to the end of the first run, then the others decide", async () => {
  const { comparison, reports } = await decide(reaches(1), [], 10 * 60e9, (report, run) =>
    run === 1
      ? { ...report, receipts: report.receipts.map((one) => ({ ...one, lost: null, lossRatio: null })) }
      : report,
  );
  expect(reports.length).toBeGreaterThan(1);
  expect(comparison.outcome).toBe("same");
});

test("run --until-decided: given 0.1 % more loss than in an earlier run that was long enough, then worse, and where", async () => {
  const { comparison } = await decide(reaches(20), [{ side: "east", lossRatio: 0.001 }]);
  expect(comparison.outcome).toBe("worse");
  expect(comparison.changes[0]).toMatchObject({ what: "loss", listeners: ["kiosk-1", "kiosk-2"] });
});

test("run --until-decided: given less time than one run takes, then refused; given too little to settle it, then it says so and ends", async () => {
  await expect(decide(reaches(1), [], 5e9)).rejects.toThrow("One run lasts 11 s, longer than 5 s");
  const { reports, said } = await decide(reaches(1), [], 36e9);
  expect(reports.length).toBeLessThanOrEqual(3);
  expect(said[0]).toContain("That is not enough for a rise of loss of a twentieth of a per cent");
});

test("run --until-decided: given an earlier run that is too short for the loss it had, then it says that no number of runs helps", async () => {
  if (REACH === undefined) throw new Error("there is no reach");
  const lossy = drawRun(REACH, [], 0.01, seededRandom(3));
  const { said, reports } = await decide(lossy, []);
  expect(said.join(" ")).toContain("a longer one would help");
  expect(reports.length).toBeLessThanOrEqual(3);
});

test("run --until-decided: given an earlier run in which no join was measured, then it ends once the loss is decided, and says that no further run helps", async () => {
  const joins = { trials: 1, minMs: 3, medianMs: 3, p95Ms: 3, maxMs: 3, resolutionMs: 5, valuesMs: [3] };
  const withJoins = (report: RunReport): RunReport => ({
    ...report,
    receipts: report.receipts.map((one) => ({ ...one, joinDelayMs: 3, joinDelays: joins })),
  });
  const { comparison, reports, said } = await decide(reaches(20), [], 10 * 60e9, withJoins);
  expect(reports.length).toBeLessThan(54);
  expect(comparison).toMatchObject({ outcome: "cant-tell", isBarred: true });
  expect(comparison.reason).toContain("the earlier run measured none");
  expect(said.at(-1)).toContain("No further run decides the rest");
});
