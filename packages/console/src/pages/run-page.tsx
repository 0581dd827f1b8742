import { RunComposer } from "../run/run-composer.tsx";
import { RunUnderWay } from "../run/run-under-way.tsx";
import { isRunning, run } from "../state/console-state.ts";

/** Put a run together and start it; while one goes on, watch and stop it. */
export function RunPage() {
  const current = run.value;
  return isRunning.value && current !== null ? <RunUnderWay run={current} /> : <RunComposer />;
}
