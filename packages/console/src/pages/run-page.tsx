import { RunComposer } from "../run/run-composer.tsx";
import { RunUnderWay } from "../run/run-under-way.tsx";
import { ScheduledRuns } from "../schedule/scheduled-runs.tsx";
import { isRunning, run } from "../state/console-state.ts";
import { useRunList } from "../state/run-list.ts";

/** Put a run together, start it now or later; while one goes on, watch and stop it. */
export function RunPage() {
  const current = run.value;
  const { runs } = useRunList();
  return (
    <>
      {runs !== null && <ScheduledRuns runs={runs} />}
      {isRunning.value && current !== null ? <RunUnderWay run={current} /> : <RunComposer />}
    </>
  );
}
