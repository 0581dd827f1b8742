import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import { signal } from "@preact/signals";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link, run } from "./console-state.ts";

/** Somebody else may schedule or name one: nothing tells this page. */
const AGAIN_MS = 20_000;
const MOST_RUNS = 500;

const changes = signal(0);
/** This page has changed something about stored runs: whoever lists them asks again. */
export const runsChanged = (): void => {
  changes.value++;
};

export interface RunList {
  /** Newest first; null before the first answer. What was told stays while the controller is away. */
  readonly runs: readonly RunSummary[] | null;
  readonly refusal: Refusal | null;
  /** There are more than these. */
  readonly isCut: boolean;
}

export function useRunList(): RunList {
  const [runs, setRuns] = useState<readonly RunSummary[] | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  const change = changes.value;
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    const ask = (): void => {
      askController<readonly RunSummary[]>(`/api/runs?most=${MOST_RUNS}`, { signal: gone.signal }).then(
        (list) => {
          setRuns(list);
          setRefusal(null);
        },
        (error: unknown) => {
          if (!gone.signal.aborted) setRefusal(asRefusal(error));
        },
      );
    };
    ask();
    const again = setInterval(ask, AGAIN_MS);
    return () => {
      clearInterval(again);
      gone.abort();
    };
  }, [isOn, change, run.value?.runId, run.value?.stage]);
  return { runs, refusal, isCut: runs?.length === MOST_RUNS };
}
