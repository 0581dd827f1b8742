import type { Verdict } from "@dyetrace/wire";
import { Gauge, type Registry } from "prom-client";
import type { RunRegistry } from "../../runs/run-registry.ts";

/** Scenarios whose last verdict is told; of more, those that ended longest ago are left out. */
export const MOST_SCENARIOS = 100;
/** Every word that a verdict can be: the states of a state set. */
const VERDICTS: readonly Verdict[] = ["pass", "fail", "inconclusive", "could-not-run"];

interface LastRun {
  readonly verdict: Verdict;
  readonly endedMs: number;
}

/** A run that is over, as it is told. */
export interface EndedRun extends LastRun {
  readonly site: string;
  readonly scenario: string;
}

/** How each scenario went last on each site, and when. Filled once from what is stored. */
export class LastVerdicts {
  readonly #last = new Map<string, EndedRun>();

  constructor(register: Registry) {
    const last = this.#last;
    const labelNames = ["site", "scenario"];
    new Gauge({
      name: "dyetrace_scenario_last_verdict",
      help: "1 for the verdict of the scenario's last run, 0 for the others",
      labelNames: [...labelNames, "verdict"],
      registers: [register],
      collect() {
        this.reset();
        for (const { site, scenario, verdict } of last.values())
          for (const state of VERDICTS) this.set({ site, scenario, verdict: state }, state === verdict ? 1 : 0);
      },
    });
    new Gauge({
      name: "dyetrace_scenario_last_end_timestamp_seconds",
      help: "When the scenario's last run ended",
      labelNames,
      registers: [register],
      collect() {
        this.reset();
        for (const { site, scenario, endedMs } of last.values()) this.set({ site, scenario }, endedMs / 1000);
      },
    });
  }

  /** One that ended before what is known already changes nothing. */
  note(run: EndedRun): void {
    const key = JSON.stringify([run.site, run.scenario]);
    const known = this.#last.get(key);
    if (known !== undefined && known.endedMs > run.endedMs) return;
    this.#last.delete(key);
    this.#last.set(key, run);
    if (this.#last.size <= MOST_SCENARIOS) return;
    const oldest = [...this.#last].reduce((least, one) => (one[1].endedMs < least[1].endedMs ? one : least));
    this.#last.delete(oldest[0]);
  }

  /** Reports say all of it; what could not run has none, and is told by its own count. */
  follow(runs: RunRegistry): void {
    runs.on("progress", (_runId, progress) => {
      if (progress.kind !== "done") return;
      const { site, scenario, verdict, endedAt } = progress.report;
      this.note({ site, scenario, verdict, endedMs: Date.parse(endedAt) });
    });
  }
}
