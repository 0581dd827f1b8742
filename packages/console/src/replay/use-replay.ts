import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";

export interface Replay {
  readonly told: RunReplay | null;
  readonly refusal: Refusal | null;
  /** The piece of time that is shown; null: the whole run. */
  readonly cell: number | null;
  readonly setCell: (cell: number | null) => void;
}

/** The time of a stored run. @param runId null where there is none, or it goes on */
export function useReplay(runId: string | null): Replay {
  const [told, setTold] = useState<RunReplay | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [cell, setCell] = useState<number | null>(null);
  useEffect(() => {
    setTold(null);
    setRefusal(null);
    setCell(null);
    if (runId === null) return;
    const gone = new AbortController();
    askController<RunReplay>(`/api/console/runs/${encodeURIComponent(runId)}/replay`, { signal: gone.signal }).then(
      setTold,
      (error: unknown) => {
        if (!gone.signal.aborted) setRefusal(asRefusal(error));
      },
    );
    return () => gone.abort();
  }, [runId]);
  return { told, refusal, cell, setCell };
}
