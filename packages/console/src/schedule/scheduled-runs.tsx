import { formatDurationNs, parseDurationNs } from "@dyetrace/wire";
import type { RunSummary, StoredRun } from "@dyetrace/wire/console/stored-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { SureButton } from "../parts/sure-button.tsx";
import { link } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";
import { runsChanged } from "../state/run-list.ts";
import { mayOperate } from "../state/session.ts";
import { ownZone } from "./schedule-draft.ts";

/** Runs that wait for their time, the next one first, each with what cancels it. Nothing where none waits. */
export function ScheduledRuns({ runs }: { readonly runs: readonly RunSummary[] }) {
  const waiting = runs
    .filter(({ state }) => state === "scheduled")
    .toSorted((a, b) => (a.startAt ?? "").localeCompare(b.startAt ?? ""));
  if (waiting.length === 0) return null;
  return (
    <section class="scheduled" aria-labelledby="scheduled">
      <h2 id="scheduled">{waiting.length === 1 ? "1 scheduled run" : `${waiting.length} scheduled runs`}</h2>
      <ul>
        {waiting.map((one) => (
          <ScheduledRun key={one.runId} run={one} />
        ))}
      </ul>
      <p class="small soft">Times are in {ownZone()}, by this page's clock.</p>
    </section>
  );
}

function ScheduledRun({ run }: { readonly run: RunSummary }) {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const length = useLength(run.runId);
  const cancel = (): void => {
    askController(`/api/runs/${encodeURIComponent(run.runId)}/abort`, { method: "POST" }).then(
      runsChanged,
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  return (
    <li>
      <span>
        <a href={hrefTo("findings", run.runId)}>
          <b>{run.scenario}</b>
        </a>{" "}
        starts <b>{run.startAt === null ? "soon" : formatInstant(run.startAt)}</b>
        {length !== null && `, lasts ${length}`}
      </span>
      {mayOperate.value && link.value.kind === "on" && (
        <SureButton label={`Cancel ${run.scenario}`} sure={`Really cancel ${run.scenario}?`} onSure={cancel} />
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </li>
  );
}

/** How long the request says it lasts; null where it does not. */
function useLength(runId: string): string | null {
  const [length, setLength] = useState<string | null>(null);
  useEffect(() => {
    const gone = new AbortController();
    askController<StoredRun>(`/api/console/runs/${encodeURIComponent(runId)}`, { signal: gone.signal }).then(
      ({ request }) => setLength(sayLength(request.parameters?.["length"])),
      () => {}, // the list says all the rest
    );
    return () => gone.abort();
  }, [runId]);
  return length;
}

/** In the largest unit that fits: a schedule writes it in seconds. */
const sayLength = (written: string | undefined): string | null =>
  written === undefined ? null : formatDurationNs(parseDurationNs(written));
