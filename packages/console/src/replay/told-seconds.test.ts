import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { expect, test } from "vitest";
import { KEPT_SECONDS, LiveHistory, ON_THE_WAY_S } from "../state/live-history.ts";
import { toldSeconds } from "./told-seconds.ts";

const run = {
  outline: { streams: [{ streamId: 1, name: "board" }] },
  drawing: { nodes: [{ agent: "kiosk" }, { agent: "clock" }, { agent: null }, { agent: "silent" }] },
} as unknown as ConsoleRun;
const strip = (agent: string, from: number, marks: string) => ({ agent, streamId: 1, from, marks, last: null });

test("seconds of a run that goes on: given one listener from its start and one that came late, then each mark stands in its own second", () => {
  const history = new LiveHistory();
  expect(toldSeconds(run, "board", history)).toBeNull();
  history.load([strip("kiosk", 0, "ff-ffff"), strip("clock", 2, "ffff")]);
  expect(toldSeconds(run, "board", history)).toEqual({
    first: 0,
    count: 4,
    strips: [
      { agent: "kiosk", stream: "board", marks: "ff-f" },
      { agent: "clock", stream: "board", marks: "  ff" },
    ],
  });
  expect(toldSeconds(run, "another", history)).toBeNull();
});

test("seconds of a run that goes on: given more than are kept, then the first is the oldest that is", () => {
  const history = new LiveHistory();
  const marks = `-${"f".repeat(KEPT_SECONDS - 1)}`;
  history.load([strip("kiosk", 20, marks)]);
  expect(toldSeconds(run, "board", history)).toMatchObject({
    first: 20,
    count: KEPT_SECONDS - ON_THE_WAY_S,
    strips: [{ marks: marks.slice(0, -ON_THE_WAY_S) }],
  });
});
