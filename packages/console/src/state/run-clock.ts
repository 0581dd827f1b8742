import { useEffect, useState } from "preact/hooks";
import { isRunning, run, runToldAt } from "./console-state.ts";

/** Time of the run that is going on, in ms since its start; null before the order to start. */
export function runTimeMs(): number | null {
  const current = run.value;
  if (current === null || current.atMs === null) return null;
  const lastsMs = current.lastsMs ?? Number.POSITIVE_INFINITY;
  const atMs = current.stage === "over" ? current.atMs : current.atMs + performance.now() - runToldAt.value;
  return Math.min(atMs, lastsMs);
}

/** The same, told again a few times a second while the run goes on. */
export function useRunTimeMs(everyMs = 250): number | null {
  const [, tick] = useState(0);
  const running = isRunning.value;
  useEffect(() => {
    if (!running) return;
    const timer = setInterval(() => tick((count) => count + 1), everyMs);
    return () => clearInterval(timer);
  }, [running, everyMs]);
  return runTimeMs();
}
