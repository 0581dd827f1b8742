import { countRanges, intersectRanges } from "@dyetrace/measure";
import { unfoldVlans } from "@dyetrace/site";
import { describe, expect, test } from "vitest";
import type { ListenerObservation } from "../../../packages/locate/src/run/run-observations.ts";
import { policedNumbers } from "../policed-numbers.ts";
import { seededRandom } from "../seeded-random.ts";
import type { ClassCase } from "./class-case.ts";
import { SIMULATED_CLASSES } from "./class-list.ts";
import { isSamePlace, judgeCase, SURE } from "./judge-case.ts";
import { forwardingNeighbours } from "./site-edits.ts";

function drawCase(name: string, variant: string, seed: number): ClassCase {
  const one = SIMULATED_CLASSES.find((candidate) => candidate.name === name);
  const random = seededRandom(seed);
  for (let draws = 0; draws < 1_000; draws++) {
    const drawn = one?.draw(variant, random) ?? null;
    if (drawn !== null) return drawn;
  }
  throw new Error(`No case of ${name}, ${variant}`);
}

const SEEDS = [1, 2, 3, 4, 5];
const casesOf = (name: string, variant: string): ClassCase[] => SEEDS.map((seed) => drawCase(name, variant, seed));
const variants = SIMULATED_CLASSES.flatMap((one) => one.variants.map((variant) => [one.name, variant] as const));
const hostsOf = ({ world }: ClassCase): string[] =>
  [...world.nodes.values()].filter(({ kind }) => kind === "host").map(({ name }) => name);
const above = (site: ClassCase["plan"], host: string): string => forwardingNeighbours(site, host)[0] ?? "";
const movedHosts = (one: ClassCase): string[] =>
  hostsOf(one).filter((host) => above(one.plan, host) !== above(one.world, host));

describe("every class", () => {
  test.each(variants)("%s, %s: given the same seed, then the same case", (name, variant) => {
    expect(drawCase(name, variant, 7)).toEqual(drawCase(name, variant, 7));
  });

  test.each(variants)("%s, %s: given another seed, then another case", (name, variant) => {
    expect(drawCase(name, variant, 7)).not.toEqual(drawCase(name, variant, 8));
  });

  test.each(variants)("%s, %s: what listeners report adds up, and the truth lies in the world", (name, variant) => {
    for (const { run, world, truth } of casesOf(name, variant)) {
      for (const { window, lost, receivedPackets, unknown = [] } of run.listeners) {
        if (window === null) continue;
        expect(receivedPackets).toBe(countRanges([window]) - countRanges(lost));
        expect(intersectRanges(lost, unknown)).toEqual(unknown);
      }
      const places = [world, unfoldVlans(world)].flatMap(({ segments, nodes }) => [
        ...segments.keys(),
        ...nodes.keys(),
      ]);
      expect(places).toEqual(expect.arrayContaining([...truth.places]));
    }
  });
});

describe("a wrong plan", () => {
  test("swapped-hosts: given two hosts swapped, then plan and world differ in where these two sit", () => {
    for (const one of casesOf("swapped-hosts", "healthy")) {
      const [first = "", second = ""] = one.truth.misplaced;
      expect(movedHosts(one).toSorted()).toEqual([first, second].toSorted());
      expect(above(one.plan, first)).toBe(above(one.world, second));
      expect(one.plan.segments.size).toBe(one.world.segments.size);
    }
  });

  test("moved-host: given one host moved, then it alone sits elsewhere", () => {
    for (const one of casesOf("moved-host", "healthy")) expect(movedHosts(one)).toEqual(one.truth.misplaced);
  });

  test("roamed-client: given a client that roamed, then both its places are access points", () => {
    for (const { plan, world, truth } of casesOf("roamed-client", "healthy")) {
      const [client = ""] = truth.misplaced;
      const kinds = [plan, world].map((site) => site.nodes.get(above(site, client))?.kind);
      expect(kinds).toEqual(["access-point", "access-point"]);
    }
  });

  test("missing-switch: given a plan without a switch, then all else is in it and hangs together", () => {
    for (const { plan, world, truth } of casesOf("missing-switch", "healthy")) {
      const [missing = ""] = truth.misplaced;
      expect([...world.nodes.keys()].filter((name) => !plan.nodes.has(name))).toEqual([missing]);
      // A tree has a link less than nodes.
      expect(plan.links.length).toBe(plan.nodes.size - 1);
      expect(new Set(plan.links.flatMap(({ a, b }) => [`${a.node}:${a.port}`, `${b.node}:${b.port}`])).size).toBe(
        2 * plan.links.length,
      );
    }
  });

  test("missing-link: given a link that the plan lacks, then one link of the world is not the plan's", () => {
    for (const { plan, world } of casesOf("missing-link", "healthy")) {
      expect([...world.segments.keys()].filter((id) => !plan.segments.has(id)).length).toBe(2);
    }
  });
});

describe("what agents would report", () => {
  const lostAt = (listeners: readonly ListenerObservation[]): ListenerObservation[] =>
    listeners.filter(({ lost }) => lost.length > 0);

  test("late-start: given a link dead at first, then whoever misses something misses the first numbers alone", () => {
    for (const { run } of casesOf("late-start", "joined 1 s before")) {
      expect(lostAt(run.listeners).length).toBeGreaterThan(0);
      for (const { lost } of lostAt(run.listeners)) expect(lost).toEqual([[0, lost[0]?.[1]]]);
    }
  });

  test("late-stop: given a stop near the end, then whoever misses something misses the last fifth at most", () => {
    for (const { run } of casesOf("late-stop", "1 to 20 % before the end")) {
      expect(lostAt(run.listeners).length).toBeGreaterThan(0);
      for (const { lost } of lostAt(run.listeners)) {
        expect(lost.length).toBe(1);
        expect(lost[0]?.[0]).toBeGreaterThanOrEqual(800);
        expect(lost[0]?.[1]).toBe(999);
      }
    }
  });

  test("host-drops: given drops that are counted, then the count is what is missing, at weak hosts alone", () => {
    for (const { run, truth } of casesOf("host-drops", "counted")) {
      for (const { host, lost, hostLostPackets } of run.listeners) {
        expect(hostLostPackets).toBe(countRanges(lost));
        if (lost.length > 0) expect(truth.places).toContain(host);
      }
    }
  });

  test("copies: given a segment that doubles, then somebody counts second copies and nobody misses anything", () => {
    for (const { run } of casesOf("copies", "all of them")) {
      expect(run.listeners.some(({ duplicatePackets }) => duplicatePackets === 1_000)).toBe(true);
      expect(lostAt(run.listeners)).toEqual([]);
    }
  });

  test("unregistered-flood: given a flood at the beginning, then no bystander sees it for longer than 0.2 s", () => {
    for (const { run, world } of casesOf("unregistered-flood", "joined before")) {
      expect(world.nodes.size).toBeGreaterThan(0);
      for (const { frames, ranges } of run.bystanders) expect([1_000, (ranges[0]?.[1] ?? 0) + 1]).toContain(frames);
    }
  });

  test("unregistered-flood: given members that join later and leave, then nobody sees the flood while one is a member", () => {
    for (const { run } of casesOf("unregistered-flood", "joined later and left")) {
      const members = run.listeners.map(({ joinedFromMs, joinedToMs }) => [joinedFromMs, joinedToMs ?? 0] as const);
      for (const { frames, ranges } of run.bystanders) {
        if (frames === 1_000) continue; // by right
        for (const [first, last] of ranges) {
          for (const [fromMs, toMs] of members) expect(last * 10 < fromMs + 100 || first * 10 > toMs).toBe(true);
        }
      }
    }
  });

  test("clock-offsets: given clocks that are off, then no instant is off by more than is said", () => {
    for (const { run } of casesOf("clock-offsets", "up to 1 s")) {
      expect(run.clocks?.length).toBeGreaterThan(0);
      for (const { firstSentMs } of run.streams) expect(Math.abs(firstSentMs ?? Number.NaN)).toBeLessThanOrEqual(1_000);
      expect(new Set(run.streams.map(({ firstSentMs }) => firstSentMs)).size).toBeGreaterThan(1);
    }
  });

  test("one-rate-policer: given a policer, then packets get lost evenly and as many as exceed its rate", () => {
    // 1,000 a second against 750 tokens a second: one in four is too many, once the first few tokens are used.
    const dropped = policedNumbers([[0, 9_999]], 1_000, { passedPerSecond: 750, depthPackets: 4 });
    expect(countRanges(dropped)).toBe(2_497);
    expect(Math.max(...dropped.map(([first, last]) => last - first + 1))).toBe(1);
  });
});

describe("judging", () => {
  test("isSamePlace: given the same cable under two plans, then one common end in the same direction is enough", () => {
    expect(isSamePlace("sw1:3>h5:1", "sw1:3>h9:1")).toBe(true);
    expect(isSamePlace("sw2:7>h9:1", "sw1:3>h9:1")).toBe(true);
    expect(isSamePlace("h9:1>sw1:3", "sw1:3>h9:1")).toBe(false);
    expect(isSamePlace("sw1", "sw1:3>h9:1")).toBe(false);
  });

  test("judgeCase: given a healthy run of the plan as it is, then silence is right", () => {
    const { plan, world, run, truth } = drawCase("unregistered-flood", "joined as it begins", 1);
    const quiet = { ...run, bystanders: [] };
    expect(judgeCase({ plan, world, run: quiet, truth }).verdict).toBe("right");
    expect(judgeCase({ plan, world, run: quiet, truth: { ...truth, places: ["core"] } }).verdict).toBe("nothing");
  });

  test("judgeCase: given a sure finding, then it is surely wrong unless it names a true place", () => {
    const drawn = Array.from({ length: 30 }, (_, seed) => drawCase("late-stop", "1 to 20 % before the end", seed));
    // Several hosts show it, so that it is sure.
    const sure = drawn.find((one) => judgeCase(one).findings.some(({ finding }) => finding.confidence >= SURE));
    expect(sure).toBeDefined();
    const { plan, world, run, truth } = sure as ClassCase;
    expect(judgeCase({ plan, world, run, truth }).verdict).toBe("right");
    expect(judgeCase({ plan, world, run, truth: { ...truth, places: [] } }).verdict).toBe("surely-wrong");
    expect(judgeCase({ plan, world, run, truth: { ...truth, kinds: ["loses"] } }).isMisnamed).toBe(true);
  });
});
