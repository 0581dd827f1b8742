import type { NightStrip, NightUnwatched } from "@dyetrace/wire";
import type { CompiledRun } from "../../plan/compiled-run.ts";
import type { Episode } from "../../store/pack/kept-report.ts";
import type { Stint } from "../../store/report-records.ts";

/**
 * Times of which something is not known, agent by agent: who never took part, was away, could not keep what it measured, or
 * cannot tell what its own host dropped. Pure.
 * @param episodes absences and dropped reports
 * @param untilNs how far the run is
 */
export function unwatchedOf(
  run: CompiledRun,
  stints: readonly Stint[],
  episodes: readonly Episode[],
  strips: readonly NightStrip[],
  untilNs: number,
): NightUnwatched[] {
  const there = new Set(stints.map(({ agent }) => agent));
  const whole = { fromMs: 0, toMs: untilNs / 1e6 };
  const never = [...run.tasks.keys()].filter((agent) => !there.has(agent));
  const isDark = new Set(strips.flatMap(({ listener, hostLost }) => (hostLost === null ? listener : [])));
  const timed = episodes.map(({ kind, agent, fromNs, toNs }): NightUnwatched => {
    const why = kind === "dropped" ? "reports-dropped" : "away";
    return { agent, fromMs: fromNs / 1e6, toMs: toNs / 1e6, why };
  });
  return [
    ...never.map((agent): NightUnwatched => ({ agent, ...whole, why: "never-there" })),
    ...timed.toSorted((a, b) => a.fromMs - b.fromMs),
    ...[...isDark].map((agent): NightUnwatched => ({ agent, ...whole, why: "host-drops" })),
  ];
}
