import type { LiveMark } from "@dyetrace/wire/console/live-second";
import { expect, test } from "vitest";
import { waterLive } from "../map/host-water.ts";
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

test("waterLive: given an agent's newest second is old, then it is unknown whatever it last said", () => {
  const history = new LiveHistory();
  history.take(cell(5, "f"));
  expect(waterLive(history, STREAM, "kiosk", 7)).toEqual({ kind: "whole" });
  expect(waterLive(history, STREAM, "kiosk", 12)).toEqual({ kind: "unknown" });
});

test("waterLive: given an agent that has told nothing, then it is waiting at first and unknown later", () => {
  const history = new LiveHistory();
  expect(waterLive(history, STREAM, "kiosk", 1)).toEqual({ kind: "waiting" });
  expect(waterLive(history, STREAM, "kiosk", 9)).toEqual({ kind: "unknown" });
});
