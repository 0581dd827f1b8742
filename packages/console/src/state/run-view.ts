import type { RunReport } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { StoredRun } from "@dyetrace/wire/console/stored-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link, run } from "./console-state.ts";

/** A run as a page shows it, whether it goes on, has just ended, or comes out of the store. */
export interface RunView {
  readonly runId: string;
  readonly scenario: string;
  readonly drawing: PlanDrawing;
  readonly streams: readonly ViewedStream[];
  readonly report: RunReport | null;
  readonly failure: ConsoleRun["failure"];
  /** Set for the run that this controller's events are about. */
  readonly live: ConsoleRun | null;
}

export interface ViewedStream {
  readonly name: string;
  readonly source: string;
  readonly group: string;
  readonly port: number;
  readonly rateBps: number;
}

const viewOfLive = (current: ConsoleRun): RunView => ({
  runId: current.runId,
  scenario: current.outline.scenario,
  drawing: current.drawing,
  streams: current.outline.streams,
  report: current.report,
  failure: current.failure,
  live: current,
});

const viewOfStored = (stored: StoredRun): RunView => ({
  runId: stored.runId,
  scenario: stored.scenario,
  drawing: stored.drawing,
  streams: stored.report?.streams ?? [],
  report: stored.report,
  failure: stored.failure,
  live: null,
});

export type Viewed =
  | { readonly kind: "none" }
  | { readonly kind: "asking" }
  | { readonly kind: "refused"; readonly refusal: Refusal }
  | { readonly kind: "run"; readonly view: RunView };

/** @param runId a stored run; null for the one that goes on or was the last */
export function useViewedRun(runId: string | null): Viewed {
  const current = run.value;
  const [stored, setStored] = useState<Viewed>({ kind: "asking" });
  const isOn = link.value.kind === "on";
  const isLive = runId === null || runId === current?.runId;
  useEffect(() => {
    if (isLive || !isOn) return;
    setStored((before) => (before.kind === "run" && before.view.runId === runId ? before : { kind: "asking" }));
    const gone = new AbortController();
    askController<StoredRun>(`/api/console/runs/${encodeURIComponent(runId)}`, { signal: gone.signal }).then(
      (answer) => setStored({ kind: "run", view: viewOfStored(answer) }),
      (error: unknown) => {
        if (!gone.signal.aborted) setStored({ kind: "refused", refusal: asRefusal(error) });
      },
    );
    return () => gone.abort();
  }, [runId, isLive, isOn]);
  if (!isLive) return stored;
  return current === null ? { kind: "none" } : { kind: "run", view: viewOfLive(current) };
}
