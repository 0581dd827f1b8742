import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { batteryUntilDecided } from "../../../controller/src/commands/client/battery-until-decided.ts";
import { seededRandom } from "../seeded-random.ts";
import { BATTERY_PLAN, type BatteryFault, drawRun, SHAPES } from "./draw-battery.ts";

const GRAPH = loadSitePlan(BATTERY_PLAN, "plan.yaml");
const LASTS_NS = 60e9;
const ROUND_NS = SHAPES.length * LASTS_NS;

/** @returns what came of it, what was said, and which scenarios ran in each round */
async function decide(seed: number, faults: readonly BatteryFault[], atMostNs: number, siteLoss = 0) {
  const random = seededRandom(seed);
  const [said, ran]: [string[], string[][]] = [[], []];
  let nowMs = 0;
  const decided = await batteryUntilDecided({
    parts: SHAPES.map((shape) => ({
      ...{ scenario: shape.scenario, lastsNs: LASTS_NS },
      before: drawRun(shape, [], siteLoss, random),
    })),
    graph: GRAPH,
    atMostNs,
    runParts: async (scenarios) => {
      ran.push([...scenarios]);
      nowMs += (scenarios.length * LASTS_NS) / 1e6;
      return SHAPES.filter(({ scenario }) => scenarios.includes(scenario)).map((shape) => ({
        scenario: shape.scenario,
        report: drawRun(shape, faults, siteLoss, random),
      }));
    },
    nowMs: () => nowMs,
    say: (sentence) => said.push(sentence),
  });
  return { ...decided, said, ran };
}

test("upgrade-check --until-decided: given nothing that changed on a site that loses packets, then it runs again until a rise of a twentieth of a per cent is excluded", async () => {
  const { verdict, rounds, ran, said } = await decide(5, [], 6 * ROUND_NS, 2e-4);
  expect(verdict.outcome).toBe("same");
  expect(verdict.reason).toContain("Excluded is a rise of loss of 0.05 percentage points or more at every listener");
  expect(rounds).toBeGreaterThan(1);
  expect(ran).toHaveLength(rounds);
  expect(said[0]).toMatch(/^At most 6 rounds in /);
  expect(said[1]).toMatch(/^Not decided after one round; again: /);
});

test("upgrade-check --until-decided: given a host that could not watch in one run, then that scenario alone runs again", async () => {
  const random = seededRandom(3);
  const ran: string[][] = [];
  const { verdict } = await batteryUntilDecided({
    parts: SHAPES.map((shape) => ({
      ...{ scenario: shape.scenario, lastsNs: LASTS_NS, before: drawRun(shape, [], 0, random) },
    })),
    graph: GRAPH,
    atMostNs: 2 * ROUND_NS,
    runParts: async (scenarios) => {
      ran.push([...scenarios]);
      return SHAPES.filter(({ scenario }) => scenarios.includes(scenario)).map((shape) => {
        const report = drawRun(shape, [], 0, random);
        const isBlind = shape.scenario === "containment" && ran.length === 1;
        const bystanders = report.bystanders.map((one) => (isBlind ? { ...one, frames: null } : one));
        return { scenario: shape.scenario, report: { ...report, bystanders } };
      });
    },
    nowMs: () => 0,
    say: () => {},
  });
  expect(ran).toEqual([SHAPES.map(({ scenario }) => scenario), ["containment"]]);
  expect(verdict.outcome).toBe("same");
});

test("upgrade-check --until-decided: given 0.1 % more loss in the east, then worse, and nothing runs after that", async () => {
  const { verdict, compared, rounds, ran } = await decide(7, [{ side: "east", lossRatio: 0.001 }], 6 * ROUND_NS);
  expect(verdict.outcome).toBe("worse");
  expect(ran).toHaveLength(rounds);
  const worse = compared.flatMap(({ comparison }) => comparison.changes).filter(({ outcome }) => outcome === "worse");
  expect(worse.every(({ listeners }) => listeners.every((one) => one.startsWith("kiosk")))).toBe(true);
});

test("upgrade-check --until-decided: given less time than a round takes, then refused; given one round, then one and what it says", async () => {
  await expect(decide(5, [], ROUND_NS / 2)).rejects.toThrow("One round of the battery lasts");
  const { ran, rounds, said } = await decide(5, [], ROUND_NS, 2e-4);
  expect([ran.length, rounds]).toEqual([1, 1]);
  expect(said).toEqual([
    expect.stringMatching(/^At most one round in /),
    expect.stringContaining("it is not settled at"),
  ]);
});
