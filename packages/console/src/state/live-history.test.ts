import { describeHostWater } from "@dyetrace/picture";
import type { LiveMark } from "@dyetrace/wire/console/live-second";
import { expect, test } from "vitest";
import { waterLive } from "../live/live-water.ts";
import { KEPT_SECONDS, LiveHistory } from "./live-history.ts";

const cell = (second: number, mark: LiveMark) => ({ agent: "kiosk", streamId: 1, second, mark, figures: null });
const STREAM = {
  streamId: 1,
  name: "board",
  source: "tower",
  group: "233.252.0.1",
  port: 48620,
  rateBps: 2e6,
  payloadBytes: 1316,
  emits: [],
};

test("LiveHistory: given a second that nobody told of, then it stays blank and is taken for neither good nor bad", () => {
  const history = new LiveHistory();
  history.take(cell(0, "f"));
  history.take(cell(2, "-"));
  expect(history.strip("kiosk", 1)?.marks).toBe("f -");
  expect(history.latestSecond).toBe(2);
});

test("LiveHistory: given a second is told twice, then the first telling stands", () => {
  const history = new LiveHistory();
  history.take(cell(0, "f"));
  history.take(cell(0, "-"));
  expect(history.strip("kiosk", 1)?.marks).toBe("f");
});

test("LiveHistory: given a long run, then only the newest seconds are kept and stand at their own second", () => {
  const history = new LiveHistory();
  for (let second = 0; second < KEPT_SECONDS + 40; second++) history.take(cell(second, second % 2 === 0 ? "f" : "-"));
  const strip = history.strip("kiosk", 1);
  expect(strip?.marks).toHaveLength(KEPT_SECONDS);
  expect(strip?.from).toBe(40);
  expect(history.markAt("kiosk", 1, 41)).toBe("-");
  expect(history.markAt("kiosk", 1, 39)).toBe(" ");
});

test("LiveHistory: given strips are loaded, then what stood before is gone", () => {
  const history = new LiveHistory();
  history.take(cell(90, "f"));
  history.load([{ agent: "till", streamId: 2, from: 3, marks: "ff", last: null }]);
  expect(history.strip("kiosk", 1)).toBeNull();
  expect(history.latestSecond).toBe(4);
});

test("waterLive: given an agent's newest second is old, then nothing is reported, whatever it last said", () => {
  const history = new LiveHistory();
  history.load([{ agent: "kiosk", streamId: 1, from: 0, marks: ".ffff", last: null }]);
  expect(waterLive(history, STREAM, "kiosk", 7)).toEqual({ kind: "whole" });
  expect(waterLive(history, STREAM, "kiosk", 12)).toEqual({ kind: "not-reported" });
  expect(waterLive(history, STREAM, "pier", 1)).toEqual({ kind: "not-reported" });
});

test("waterLive: given a second with losses, then its own share is told; given only its class, then no figure", () => {
  const history = new LiveHistory();
  const last = { received: 882, lost: 118, hostLost: 0, rateBps: 1e6, jitterMs: 1, longestGapMs: 20 };
  history.load([
    { agent: "kiosk", streamId: 1, from: 0, marks: "ff4", last },
    { agent: "board", streamId: 1, from: 0, marks: "ff4", last: null },
  ]);
  const [measured, classed] = ["kiosk", "board"].map((agent) => waterLive(history, STREAM, agent, 3));
  expect(measured).toMatchObject({ kind: "thins", lossRatio: 0.118, lossClass: 4 });
  expect(classed).toMatchObject({ kind: "thins", lossRatio: null, lossClass: 4 });
  expect([measured, classed].map((water) => (water == null ? "" : describeHostWater(water)))).toEqual([
    "11.8 % lost",
    "10 % or more lost",
  ]);
});

test("waterLive: given the source has ended, then who got nothing of it is dry and does not wait", () => {
  const history = new LiveHistory();
  const strip = (agent: string, marks: string) => ({ agent, streamId: 1, from: 0, marks, last: null });
  history.load([strip("silent", ".----.."), strip("whole", ".ffff.."), strip("early", "...")]);
  expect(waterLive(history, STREAM, "silent", 7)).toEqual({ kind: "dry" });
  expect(waterLive(history, STREAM, "whole", 7)).toEqual({ kind: "waiting" });
  expect(waterLive(history, STREAM, "early", 3)).toEqual({ kind: "waiting" });
});
