import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import { useState } from "preact/hooks";
import type { LiveHistory } from "../state/live-history.ts";
import { toldSeconds } from "./told-seconds.ts";
import type { Replay } from "./use-replay.ts";

const CELL_MS = 1000;

/**
 * The time of a run that goes on, as far back as the page keeps it. A second that is looked at stays in sight as time goes on.
 * @param live null where none goes on @param stream the one that is drawn
 */
export function useLiveReplay(live: ConsoleRun | null, stream: string | null, history: LiveHistory): Replay {
  const [held, hold] = useState<{ readonly runId: string; readonly second: number } | null>(null);
  const seconds = live === null || stream === null ? null : toldSeconds(live, stream, history);
  const told: RunReplay | null =
    live === null || live.startedAt === null || seconds === null
      ? null
      : {
          startedAt: new Date(Date.parse(live.startedAt) + seconds.first * CELL_MS).toISOString(),
          cellMs: CELL_MS,
          cells: seconds.count,
          strips: seconds.strips,
        };
  const first = seconds?.first ?? 0;
  const isHeld = told !== null && held !== null && held.runId === live?.runId;
  return {
    told,
    refusal: null,
    cell: isHeld ? Math.min(told.cells - 1, Math.max(0, held.second - first)) : null,
    setCell: (cell) => hold(cell === null || live === null ? null : { runId: live.runId, second: first + cell }),
  };
}
