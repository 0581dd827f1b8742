import type { Verdict } from "@dyetrace/wire";
import type { ConsoleRun } from "../console-api.ts";
import { hrefTo } from "../route.ts";
import { link } from "../state/console-state.ts";
import { useRunTimeMs } from "../state/run-clock.ts";

const VERDICTS: Readonly<Record<Verdict, string>> = {
  pass: "Pass",
  fail: "Fail",
  inconclusive: "Inconclusive",
  "could-not-run": "Could not run",
};

/** How the run stands: its verdict, or how far it is. */
export function RunNote({ run }: { readonly run: ConsoleRun }) {
  const atMs = useRunTimeMs();
  const isCurrent = link.value.kind === "on";
  if (run.report !== null) {
    return (
      <section>
        <p class="verdict">{VERDICTS[run.report.verdict]}</p>
        <p class="small soft">
          {run.outline.scenario}, {new Date(run.report.startedAt).toLocaleString()}
        </p>
        {run.report.findings.length === 0 && <p>{run.report.reason}</p>}
      </section>
    );
  }
  if (run.failure !== null) {
    return (
      <section>
        <p class="verdict">Could not run</p>
        <p>{run.failure.message}</p>
        <p class="small soft">{run.failure.hint}</p>
      </section>
    );
  }
  if (!isCurrent) {
    return (
      <section>
        <p class="verdict">No news</p>
        <p class="small soft">A run of {run.outline.scenario} was going on. How it stands is unknown.</p>
      </section>
    );
  }
  return (
    <section>
      <p class="verdict">
        {run.stage === "running" ? "Running" : run.stage === "preparing" ? "Preparing" : "Concluding"}
      </p>
      <p class="small soft">
        {run.outline.scenario}
        {atMs !== null &&
          run.lastsMs !== null &&
          `, second ${Math.max(0, Math.floor(atMs / 1000))} of ${Math.round(run.lastsMs / 1000)}`}
        {" · "}
        <a href={hrefTo("run")}>steps, and stop it</a>
      </p>
    </section>
  );
}
