import { formatMs } from "@dyetrace/picture";
import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { VERDICTS } from "../parts/run-note.tsx";
import { link, run } from "../state/console-state.ts";
import { hrefAlong, hrefTo, route } from "../state/route.ts";
import { ComparisonView } from "./comparison-view.tsx";

const MOST_RUNS = 500;
const FILES = ["report.html", "report.json", "junit.xml", "receipts.csv", "gaps.csv"] as const;

/** Earlier runs: search, open, take along, and hold two against each other. */
export function RunsPage() {
  const { of, query } = route.value;
  const against = query.get("against");
  if (of !== null && against !== null) return <ComparisonView later={of} earlier={against} />;
  return <RunList named={of} />;
}

function RunList({ named }: { readonly named: string | null }) {
  const [runs, setRuns] = useState<readonly RunSummary[] | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [search, setSearch] = useState("");
  const [chosen, setChosen] = useState<readonly string[]>([]);
  const isOn = link.value.kind === "on";
  const stage = run.value?.stage;
  useEffect(() => {
    if (!isOn) return;
    askController<readonly RunSummary[]>(`/api/runs?most=${MOST_RUNS}`).then(setRuns, (error: unknown) =>
      setRefusal(asRefusal(error)),
    );
  }, [isOn, run.value?.runId, stage]);
  if (refusal !== null && runs === null) return <RefusalNote refusal={refusal} />;
  if (runs === null) return <p class="empty">Fetching the runs …</p>;
  if (runs.length === 0) {
    return (
      <p class="empty">
        No run yet. <a href={hrefAlong("run")}>Start the first one.</a>
      </p>
    );
  }
  const wanted = search.trim().toLowerCase();
  const shown = runs.filter((one) => wanted === "" || words(one).toLowerCase().includes(wanted));
  const toggle = (runId: string): void =>
    setChosen(chosen.includes(runId) ? chosen.filter((one) => one !== runId) : [...chosen, runId].slice(-2));
  // The list is newest first, and a comparison holds the later run against the earlier one.
  const pair = runs.map(({ runId }) => runId).filter((runId) => chosen.includes(runId));
  return (
    <div class="runs-page">
      <div class="runs-head">
        <label class="field">
          <span>Search by scenario, site, verdict, name or date</span>
          <input type="search" value={search} onInput={(event) => setSearch(event.currentTarget.value)} />
        </label>
        <div>
          {pair.length === 2 && pair[0] !== undefined && pair[1] !== undefined ? (
            <a class="press pours" href={hrefTo("runs", pair[0], { against: pair[1] })}>
              Compare the two
            </a>
          ) : (
            <p class="small soft">Tick two runs to hold the later against the earlier.</p>
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
            <th scope="col">take along</th>
          </tr>
        </thead>
        <tbody>
          {shown.map((one) => (
            <tr key={one.runId} aria-current={one.runId === named ? "true" : undefined}>
              <td>
                <input
                  type="checkbox"
                  aria-label={`Compare the ${one.scenario} run of ${formatInstant(one.createdAt)}`}
                  disabled={one.state !== "done"}
                  checked={chosen.includes(one.runId)}
                  onChange={() => toggle(one.runId)}
                />
              </td>
              <td class="when">{formatInstant(one.startedAt ?? one.createdAt)}</td>
              <td>
                <a href={hrefTo("findings", one.runId)}>{one.scenario}</a>
                {one.baselines.map((name) => (
                  <span key={name} class="name-tag">
                    {name}
                  </span>
                ))}
                <div class="small soft">{one.site}</div>
              </td>
              <td>
                <b>{verdictOf(one)}</b>
              </td>
              <td class="number">{lasted(one)}</td>
              <td>
                {one.state === "done" && (
                  <details class="files">
                    <summary>files</summary>
                    <ul>
                      {FILES.map((file) => (
                        <li key={file}>
                          <a href={`/api/console/runs/${one.runId}/files/${file}`} download>
                            {file}
                          </a>
                        </li>
                      ))}
                    </ul>
                  </details>
                )}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
      {shown.length === 0 && <p class="empty">No run has “{search.trim()}” in it.</p>}
      {runs.length === MOST_RUNS && <p class="small soft">The newest {MOST_RUNS} runs are shown.</p>}
    </div>
  );
}

const verdictOf = ({ state, verdict }: RunSummary): string =>
  verdict !== null
    ? VERDICTS[verdict]
    : state === "failed"
      ? VERDICTS["could-not-run"]
      : state === "running"
        ? "Going on"
        : state === "scheduled"
          ? "To come"
          : "Unknown";

const lasted = ({ startedAt, endedAt }: RunSummary): string =>
  startedAt === null || endedAt === null ? "" : formatMs(Date.parse(endedAt) - Date.parse(startedAt));

const words = (one: RunSummary): string =>
  [
    one.scenario,
    one.site,
    verdictOf(one),
    one.runId,
    formatInstant(one.startedAt ?? one.createdAt),
    ...one.baselines,
  ].join(" ");
