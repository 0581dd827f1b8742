import { COMPARISON_WORDS, sayChance, saySame } from "@dyetrace/wire";
import type { ComparisonAnswer, ComparisonOutcome } from "@dyetrace/wire/console/comparison-answer";
import type { StoredRun } from "@dyetrace/wire/console/stored-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { ChangeMap } from "../map/change-map.tsx";
import { Awaited } from "../parts/awaited.tsx";
import { formatInstant, nameSome } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { VERDICTS } from "../parts/run-note.tsx";
import { link } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";

/** The words of `dyetrace compare`. */
const wordOf = (outcome: ComparisonOutcome): string =>
  `${COMPARISON_WORDS[outcome].charAt(0).toUpperCase()}${COMPARISON_WORDS[outcome].slice(1)}`;
/** What needs a look comes first. */
const ORDER: readonly ComparisonOutcome[] = ["worse", "cant-tell", "better", "same"];

const MOST_DIFFERENCES = 8;

interface Fetched {
  readonly answer: ComparisonAnswer;
  readonly later: StoredRun;
  readonly earlier: StoredRun;
}

/** A later run held against an earlier one, what got worse on top. */
export function ComparisonView({ later, earlier }: { readonly later: string; readonly earlier: string }) {
  const [fetched, setFetched] = useState<Fetched | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    const get = <T,>(path: string): Promise<T> =>
      askController<T>(`/api/console/runs/${path}`, { signal: gone.signal });
    Promise.all([
      get<ComparisonAnswer>(`${encodeURIComponent(later)}/comparison?against=${encodeURIComponent(earlier)}`),
      get<StoredRun>(encodeURIComponent(later)),
      get<StoredRun>(encodeURIComponent(earlier)),
    ]).then(
      ([answer, after, before]) => setFetched({ answer, later: after, earlier: before }),
      (error: unknown) => {
        if (!gone.signal.aborted) setRefusal(asRefusal(error));
      },
    );
    return () => gone.abort();
  }, [later, earlier, isOn]);
  if (refusal !== null) return <RefusalNote refusal={refusal} />;
  if (fetched === null) return <Awaited what="the comparison" />;
  const { answer } = fetched;
  const rows = answer.comparisons.toSorted((a, b) => ORDER.indexOf(a.outcome) - ORDER.indexOf(b.outcome));
  const changed = rows.filter(({ outcome }) => outcome === "worse" || outcome === "better");
  const unchanged = rows.filter(({ outcome }) => outcome === "same" || outcome === "cant-tell");
  const undecided = unchanged.filter(({ outcome }) => outcome === "cant-tell").length;
  return (
    <div class="comparison">
      <p class="small">
        <a href={hrefTo("runs", later)}>All runs</a>
      </p>
      <p class="verdict">{wordOf(answer.outcome)}</p>
      <p>{answer.reason}</p>
      <div class="two-runs">
        <RunSide says="earlier" run={fetched.earlier} />
        <RunSide says="later" run={fetched.later} />
      </div>
      {answer.differences.length > 0 && (
        <div class="refusal">
          <p>The two are no pair, so a difference may come from that alone:</p>
          <ul class="plain small">
            {answer.differences.slice(0, MOST_DIFFERENCES).map((difference) => (
              <li key={difference}>{difference}</li>
            ))}
            {answer.differences.length > MOST_DIFFERENCES && (
              <li>and {answer.differences.length - MOST_DIFFERENCES} more</li>
            )}
          </ul>
        </div>
      )}
      <ChangeMap
        earlier={fetched.earlier}
        later={fetched.later}
        stream={answer.changes.find(({ stream }) => stream !== null)?.stream ?? null}
      />
      {answer.changes.map((change) => (
        <article
          key={`${change.what} ${change.stream} ${change.outcome} ${change.places.join()}`}
          class={`change ${change.outcome}`}
        >
          <p class="finding-head">
            <span class="tag">{COMPARISON_WORDS[change.outcome]}</span>
            {change.stream !== null && <span class="water">{change.stream}</span>}
          </p>
          <h2>
            {change.what}
            {change.listeners.length > 0 && ` at ${nameSome(change.listeners)}`}
          </h2>
          <p>{change.because}</p>
          <p class="small">
            Suspects: {change.places.length === 0 ? "none can be named" : <code>{change.places.join(", ")}</code>}
            {change.confidence !== undefined && `, confidence ${Math.round(change.confidence * 100)} %`}
          </p>
        </article>
      ))}
      {changed.length > 0 && <ComparisonTable rows={changed} />}
      {unchanged.length > 0 && (
        <details>
          <summary>
            {saySame(unchanged.length - undecided, rows.length)}
            {undecided > 0 && ` Can't tell: ${undecided}.`}
          </summary>
          <ComparisonTable rows={unchanged} />
        </details>
      )}
      {answer.notes.length > 0 && (
        <ul class="plain small">
          {answer.notes.map((note) => (
            <li key={note}>{note}</li>
          ))}
        </ul>
      )}
    </div>
  );
}

function ComparisonTable({ rows }: { readonly rows: ComparisonAnswer["comparisons"] }) {
  return (
    <table class="comparison-table">
      <thead>
        <tr>
          <th scope="col">what</th>
          <th scope="col">where</th>
          <th scope="col">earlier</th>
          <th scope="col">later</th>
          <th scope="col">outcome</th>
        </tr>
      </thead>
      <tbody>
        {rows.map((row) => (
          <tr key={`${row.what} ${row.stream} ${row.listener} ${row.places.join()}`}>
            <th scope="row">{row.what}</th>
            <td>
              {row.stream !== null && <span class="water">{row.stream} </span>}
              {row.listener ?? row.places.join(", ")}
            </td>
            <td data-of="earlier">{row.before}</td>
            <td data-of="later">{row.after}</td>
            <td>
              {row.outcome === "worse" ? <b>{wordOf(row.outcome)}</b> : wordOf(row.outcome)}
              <div class="small soft">
                {row.because}
                {row.p !== null && ` (${sayChance(row.p)})`}
              </div>
            </td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function RunSide({ says, run }: { readonly says: string; readonly run: StoredRun }) {
  return (
    <section>
      <h2 class="soft">{says}</h2>
      <p>
        <a href={hrefTo("findings", run.runId)}>
          {run.scenario}, {formatInstant(run.startedAt ?? run.createdAt)}
        </a>
        : {run.verdict === null ? "no verdict" : VERDICTS[run.verdict]}
      </p>
    </section>
  );
}
