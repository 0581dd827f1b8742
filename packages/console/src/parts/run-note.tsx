import type { Verdict } from "@dyetrace/wire";
import type { RunFailure } from "@dyetrace/wire/console/run-failure";
import { link } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";
import { useRunTimeMs } from "../state/run-clock.ts";
import type { RunView } from "../state/run-view.ts";
import { formatInstant } from "./format.ts";

export const VERDICTS: Readonly<Record<Verdict, string>> = {
  pass: "Pass",
  fail: "Fail",
  inconclusive: "Inconclusive",
  "could-not-run": "Could not run",
};

/** Somebody did not want it: that is no failure. */
export const isCancelled = ({ code }: RunFailure): boolean => code === "RUN_CANCELLED";

/** How a run stands: its verdict, or how far it is. */
export function RunNote({ view }: { readonly view: RunView }) {
  const atMs = useRunTimeMs();
  const isCurrent = link.value.kind === "on";
  const { report, failure, live } = view;
  const endedAt = view.stored?.endedAt ?? null;
  if (report !== null) {
    return (
      <section class="run-note">
        <p class="verdict">{VERDICTS[report.verdict]}</p>
        <p class="small soft">
          {view.scenario}, {formatInstant(report.startedAt)}
        </p>
        {report.findings.length === 0 && <p>{report.reason}</p>}
      </section>
    );
  }
  if (failure !== null) {
    return (
      <section class="run-note">
        <p class="verdict">{isCancelled(failure) ? "Cancelled" : VERDICTS["could-not-run"]}</p>
        <p class="small soft">
          {view.scenario}
          {endedAt !== null && `, ${formatInstant(endedAt)}`}
        </p>
        <p>{failure.message}.</p>
        {failure.hint !== "" && <p class="small soft">{failure.hint}.</p>}
      </section>
    );
  }
  if (view.stored?.state === "scheduled") {
    return (
      <section class="run-note">
        <p class="verdict">To come</p>
        <p class="small soft">
          {view.scenario}
          {view.stored.startAt !== null && `, starts ${formatInstant(view.stored.startAt)}`}
        </p>
      </section>
    );
  }
  if (view.stored?.state === "running" && isCurrent) {
    return (
      <section class="run-note">
        <p class="verdict">Under way</p>
        <p class="small soft">
          {view.scenario}, begun {formatInstant(view.stored.startedAt ?? view.stored.createdAt)}. There is no verdict
          yet. On a live site the agents listen first.
        </p>
      </section>
    );
  }
  if (live === null || !isCurrent) {
    return (
      <section class="run-note">
        <p class="verdict">No news</p>
        <p class="small soft">
          {live === null
            ? `This run of ${view.scenario} has no report.`
            : `A run of ${view.scenario} was going on. How it stands now is unknown.`}
        </p>
      </section>
    );
  }
  const stage = live.stage === "running" ? "Running" : live.stage === "preparing" ? "Preparing" : "Concluding";
  return (
    <section class="run-note">
      <p class="verdict">{stage}</p>
      <p class="small soft">
        {view.scenario}
        {atMs !== null &&
          live.lastsMs !== null &&
          `, second ${Math.max(0, Math.floor(atMs / 1000))} of ${Math.round(live.lastsMs / 1000)}`}
        {" · "}
        <a href={hrefTo("run", view.runId)}>steps, and stop it</a>
      </p>
    </section>
  );
}
