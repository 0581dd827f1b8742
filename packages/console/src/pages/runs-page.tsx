import { formatMs } from "@dyetrace/picture";
import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import { useState } from "preact/hooks";
import { Awaited } from "../parts/awaited.tsx";
import { formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { isCancelled, VERDICTS } from "../parts/run-note.tsx";
import { earlierRunsOf } from "../runs/earlier-runs.ts";
import { RunCare } from "../runs/run-care.tsx";
import { ScheduledRuns } from "../schedule/scheduled-runs.tsx";
import { hrefAlong, hrefTo, route } from "../state/route.ts";
import { useRunList } from "../state/run-list.ts";
import { mayOperate } from "../state/session.ts";
import { ComparisonView } from "./comparison-view.tsx";

const FILES = ["evidence.zip", "report.json", "junit.xml", "receipts.csv", "gaps.csv"] as const;
/** Rows that are shown before somebody asks for the rest. */
const FEW = 50;

/** Earlier runs: search, open, take along, and hold two against each other. */
export function RunsPage() {
  const { of, query } = route.value;
  const against = query.get("against");
  if (of !== null && against !== null) return <ComparisonView later={of} earlier={against} />;
  return <RunList named={of} />;
}

function RunList({ named }: { readonly named: string | null }) {
  const { runs, refusal, isCut } = useRunList();
  const [search, setSearch] = useState("");
  const [isWhole, setWhole] = useState(false);
  const [chosen, setChosen] = useState<readonly string[]>([]);
  if (refusal !== null && runs === null) return <RefusalNote refusal={refusal} />;
  if (runs === null) return <Awaited what="the runs" />;
  if (runs.length === 0) {
    return (
      <p class="empty">
        No run yet. <a href={hrefAlong("run")}>Start the first one.</a>
      </p>
    );
  }
  const wanted = search.trim().toLowerCase();
  const found = runs.filter((one) => wanted === "" || words(one).toLowerCase().includes(wanted));
  const shown = isWhole ? found : found.slice(0, FEW);
  const toggle = (runId: string): void =>
    setChosen(chosen.includes(runId) ? chosen.filter((one) => one !== runId) : [...chosen, runId].slice(-2));
  // The list is newest first, and a comparison holds the later run against the earlier one.
  const pair = runs.map(({ runId }) => runId).filter((runId) => chosen.includes(runId));
  return (
    <div class="runs-page">
      <ScheduledRuns runs={runs} />
      <div class="runs-head">
        <label class="field">
          <span>Search by scenario, site, verdict, name, tag, note or date</span>
          <input type="search" value={search} onInput={(event) => setSearch(event.currentTarget.value)} />
        </label>
        <div>
          {pair.length === 2 && pair[0] !== undefined && pair[1] !== undefined ? (
            <a class="press pours" href={hrefTo("runs", pair[0], { against: pair[1] })}>
              Compare the two
            </a>
          ) : (
            <p class="small soft">Tick two runs to compare the later one with the earlier one.</p>
          )}
        </div>
      </div>
      <table class="run-table">
        <thead>
          <tr>
            <th scope="col">
              <span class="hidden-name">compare</span>
            </th>
            <th scope="col">when</th>
            <th scope="col">scenario</th>
            <th scope="col">verdict</th>
            <th scope="col" class="number">
              lasted
            </th>
            <th scope="col">report and notes</th>
          </tr>
        </thead>
        <tbody>
          {shown.map((one) => (
            <RunRow
              key={one.runId}
              run={one}
              runs={runs}
              isNamed={one.runId === named}
              isChosen={chosen.includes(one.runId)}
              onToggle={() => toggle(one.runId)}
            />
          ))}
        </tbody>
      </table>
      {shown.length === 0 && <p class="empty">No run has “{search.trim()}” in it.</p>}
      {found.length > shown.length && (
        <button type="button" class="press small" onClick={() => setWhole(true)}>
          and {found.length - shown.length} more
        </button>
      )}
      {isCut && <p class="small soft">These are the newest {runs.length} runs; the command line lists the others.</p>}
    </div>
  );
}

interface RunRowProps {
  readonly run: RunSummary;
  readonly runs: readonly RunSummary[];
  readonly isNamed: boolean;
  readonly isChosen: boolean;
  readonly onToggle: () => void;
}

function RunRow({ run: one, runs, isNamed, isChosen, onToggle }: RunRowProps) {
  const file = (name: string): string => `/api/console/runs/${encodeURIComponent(one.runId)}/files/${name}`;
  return (
    <tr aria-current={isNamed ? "true" : undefined}>
      <td>
        <input
          type="checkbox"
          aria-label={`Compare the ${one.scenario} run of ${formatInstant(whenOf(one))}`}
          disabled={one.state !== "done"}
          checked={isChosen}
          onChange={onToggle}
        />
      </td>
      <td class="when">{formatInstant(whenOf(one))}</td>
      <td>
        <a href={hrefTo("findings", one.runId)}>{one.scenario}</a>
        {[...one.baselines, ...one.tags].map((name) => (
          <span key={name} class="name-tag">
            {name}
          </span>
        ))}
        <div class="small soft">{one.site}</div>
        {one.note !== null && <div class="small run-written">{one.note}</div>}
        {earlierRunsOf(one, runs).map(({ runId, called }) => (
          <div key={`${runId} ${called}`} class="small">
            <a href={hrefTo("runs", one.runId, { against: runId })}>Compare with {called}</a>
          </div>
        ))}
      </td>
      <td>
        <b>{verdictOf(one)}</b>
        {one.failure !== null && <div class="small soft">{one.failure.message}</div>}
      </td>
      <td class="number">{lasted(one)}</td>
      <td>
        {one.state === "done" && (
          <>
            <a href={file("report.html")} download>
              Report
            </a>
            <details class="files">
              <summary>other files</summary>
              <ul>
                {FILES.map((name) => (
                  <li key={name}>
                    <a href={file(name)} download>
                      {name}
                    </a>
                  </li>
                ))}
              </ul>
            </details>
          </>
        )}
        {mayOperate.value && one.state !== "scheduled" && (
          <details class="files">
            <summary>name, tags, note</summary>
            <RunCare run={one} />
          </details>
        )}
      </td>
    </tr>
  );
}

/** When it started, or is to start. */
const whenOf = ({ startedAt, startAt, createdAt }: RunSummary): string => startedAt ?? startAt ?? createdAt;

const verdictOf = ({ state, verdict, failure }: RunSummary): string =>
  verdict !== null
    ? VERDICTS[verdict]
    : state === "failed"
      ? failure !== null && isCancelled(failure)
        ? "Cancelled"
        : VERDICTS["could-not-run"]
      : state === "running"
        ? "Running"
        : state === "scheduled"
          ? "Scheduled"
          : "Unknown";

const lasted = ({ startedAt, endedAt }: RunSummary): string =>
  startedAt === null || endedAt === null ? "" : formatMs(Date.parse(endedAt) - Date.parse(startedAt));

const words = (one: RunSummary): string =>
  [
    one.scenario,
    one.site,
    verdictOf(one),
    one.runId,
    formatInstant(whenOf(one)),
    one.note ?? "",
    ...one.baselines,
    ...one.tags,
  ].join(" ");
