import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveFigures } from "@dyetrace/wire/console/live-second";
import { expect, test } from "vitest";
import { LiveHistory } from "../state/live-history.ts";
import { sayStrip } from "./strip-words.ts";
import { summariseLive } from "./summarise-live.ts";

const RUN = { outline: { streams: [{ streamId: 1, name: "board", source: "tower" }] } } as unknown as ConsoleRun;
const losing = (lost: number): LiveFigures => ({
  received: 1000 - lost,
  lost,
  hostLost: 0,
  rateBps: 1e6,
  jitterMs: null,
  longestGapMs: 20,
});

function historyOf(strips: Readonly<Record<string, string | readonly [string, LiveFigures]>>): LiveHistory {
  const history = new LiveHistory();
  history.load(
    Object.entries(strips).map(([agent, told]) => {
      const [marks, last] = typeof told === "string" ? [told, null] : told;
      return { agent, streamId: 1, from: 0, marks, last };
    }),
  );
  return history;
}

test("summariseLive: given a host that was dry for some of the seconds, then it was dry for a time and not all the time", () => {
  const marks = `${"f".repeat(79)}${"-".repeat(21)}`;
  const history = historyOf({ a: marks, b: "-".repeat(100), c: "f".repeat(100) });
  const { sentence, worst } = summariseLive(RUN, ["a", "b", "c"], history, { kind: "over" });
  expect(sentence).toBe("1 whole, 1 dry all the time, 1 dry for a time.");
  expect(worst.map(({ agent, says }) => [agent, says])).toEqual([
    ["b", "dry all the time"],
    ["a", "dry for 21 of 100 s"],
  ]);
});

test("summariseLive: given several lose, then the worst is the one with the greatest share, by its own figures", () => {
  const history = historyOf({ a: ["f4", losing(120)], b: ["f4", losing(900)], c: ["f3", losing(50)] });
  const { worst, sentence } = summariseLive(RUN, ["a", "b", "c"], history, { kind: "now", second: 2 });
  expect(worst.map(({ agent, says }) => [agent, says.split(",")[0]])).toEqual([
    ["b", "loses 90 %"],
    ["a", "loses 12 %"],
    ["c", "loses 5 %"],
  ]);
  expect(sentence).toBe("3 lose some.");
});

test("summariseLive: given the source has ended, then a host that got nothing does not wait, and one whose agent is silent is not called whole", () => {
  const history = historyOf({ a: ".---..", b: ".fff..", c: ".f" });
  const { sentence, worst } = summariseLive(RUN, ["a", "b", "c", "d"], history, { kind: "now", second: 7 });
  expect(sentence).toBe("1 whole, 1 dry, 2 not reported.");
  expect(worst.map(({ agent, says }) => [agent, says])).toEqual([
    ["a", "dry when last due"],
    ["c", "not reported"],
    ["d", "not reported"],
  ]);
});

test("summariseLive: given an agent that fell silent in the middle, then it is not called whole once the run is over", () => {
  const history = historyOf({ a: "f".repeat(100), b: "f".repeat(10) });
  const { sentence, worst } = summariseLive(RUN, ["a", "b", "c"], history, { kind: "over" });
  expect(sentence).toBe("1 whole, 1 not reported, 1 reported in part.");
  expect(worst.map(({ agent, says }) => [agent, says])).toEqual([
    ["c", "not reported for 100 s"],
    ["b", "not reported for 90 s"],
  ]);
});

test("sayStrip: given seconds that nobody told of, then they are said beside the others", () => {
  expect(sayStrip("ff  f1--.")).toBe("dry for 2 of 6 s, loses in 1 of 6 s, not reported for 2 s");
  expect(sayStrip("bbb")).toBe("at its network card only for 3 of 3 s");
  expect(sayStrip("....")).toBe("joined, nothing due");
  expect(sayStrip("")).toBe("not reported");
});
