import { knownRateBps, type RunReport } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { StoredRun } from "@dyetrace/wire/console/stored-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link, run } from "./console-state.ts";
import { isLostRun } from "./named-run.ts";

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
  /** Where it is another: how it stands in the store. */
  readonly stored: StoredRun | null;
}

export interface ViewedStream {
  readonly name: string;
  readonly source: string;
  readonly group: string;
  readonly port: number;
  /** Null: a stream of others, of which nobody knows it yet. */
  readonly rateBps: number | null;
}

const outlined = (stream: ConsoleRun["outline"]["streams"][number]): ViewedStream =>
  stream.production === true ? { ...stream, rateBps: null } : stream;

/** Of a stream of others several may have been found at one group. */
const reported = ({ streams }: RunReport): readonly ViewedStream[] =>
  streams.map((stream) => ({ ...stream, rateBps: knownRateBps(stream) }));

const viewOfLive = (current: ConsoleRun): RunView => ({
  runId: current.runId,
  scenario: current.outline.scenario,
  drawing: current.drawing,
  streams: current.report === null ? current.outline.streams.map(outlined) : reported(current.report),
  report: current.report,
  failure: current.failure,
  live: current,
  stored: null,
});

const viewOfStored = (stored: StoredRun): RunView => ({
  runId: stored.runId,
  scenario: stored.scenario,
  drawing: stored.drawing,
  streams: stored.report === null ? [] : reported(stored.report),
  report: stored.report,
  failure: stored.failure,
  live: null,
  stored,
});

export type Viewed =
  | { readonly kind: "none" }
  | { readonly kind: "asking" }
  | { readonly kind: "refused"; readonly refusal: Refusal }
  | { readonly kind: "run"; readonly view: RunView };

/** The stored run that was looked at last: its other pages have it at once. */
let latest: { readonly runId: string; readonly viewed: Viewed } | null = null;

/** A run without a report is asked for again after this time. */
const AGAIN_MS = 1000;
/** A run that was started just now may not be in the store yet. */
const MOST_UNKNOWN = 5;

/** @param runId a stored run; null for the one that goes on or was the last */
export function useViewedRun(runId: string | null): Viewed {
  const current = run.value;
  const [stored, setStored] = useState<{ readonly runId: string; readonly viewed: Viewed } | null>(latest);
  const isOn = link.value.kind === "on";
  const isLive = runId === null || runId === current?.runId || isLostRun(runId);
  useEffect(() => {
    if (isLive || !isOn) return;
    const gone = new AbortController();
    let timer: ReturnType<typeof setTimeout> | undefined;
    let unknown = 0;
    const show = (viewed: Viewed): void => {
      latest = { runId, viewed };
      setStored(latest);
    };
    const ask = (): void => {
      askController<StoredRun>(`/api/console/runs/${encodeURIComponent(runId)}`, { signal: gone.signal }).then(
        (answer) => {
          show({ kind: "run", view: viewOfStored(answer) });
          if (answer.state === "running" || answer.state === "scheduled") timer = setTimeout(ask, AGAIN_MS);
        },
        (error: unknown) => {
          if (gone.signal.aborted) return;
          const refusal = asRefusal(error);
          if (refusal.code === "RUN_UNKNOWN" && ++unknown < MOST_UNKNOWN) timer = setTimeout(ask, AGAIN_MS / 4);
          else show({ kind: "refused", refusal });
        },
      );
    };
    ask();
    return () => {
      clearTimeout(timer);
      gone.abort();
    };
  }, [runId, isLive, isOn]);
  // What was fetched of another run says nothing about this one.
  if (!isLive) return stored?.runId === runId ? stored.viewed : { kind: "asking" };
  return current === null ? { kind: "none" } : { kind: "run", view: viewOfLive(current) };
}
