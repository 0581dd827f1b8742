import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { expect, test } from "vitest";
import { lostRun, takeEvent } from "./console-state.ts";

const runOf = (runId: string, stage: ConsoleRun["stage"]): ConsoleRun =>
  ({ runId, stage, outline: { scenario: "soak", streams: [] } }) as unknown as ConsoleRun;
const hello = (instance: string, run: ConsoleRun | null): ConsoleEvent =>
  ({ kind: "hello", instance, run, strips: [], heard: [], agents: [], plan: null }) as unknown as ConsoleEvent;

test("takeEvent: given another controller that goes on with the run, then the run is not called lost; given one that does not, then it is", () => {
  takeEvent(hello("a", runOf("1", "running")));
  expect(lostRun.value).toBeNull();
  takeEvent(hello("b", runOf("1", "running")));
  expect(lostRun.value).toBeNull();
  takeEvent(hello("c", null));
  expect(lostRun.value).toMatchObject({ runId: "1", scenario: "soak" });
});

test("takeEvent: given a run that was over when the controller went, then nothing is called lost", () => {
  takeEvent(hello("d", runOf("2", "over")));
  takeEvent(hello("e", null));
  expect(lostRun.value).toBeNull();
});
