import { formatMs } from "@dyetrace/picture";
import type { Night } from "@dyetrace/wire";
import { NightStrips } from "../night/night-strips.tsx";
import { clockOf, sayCounted, sayIncidents, UNWATCHED_WORDS, unwatchedAlike } from "../night/night-words.ts";
import { useNight } from "../night/use-night.ts";
import { Awaited } from "../parts/awaited.tsx";
import { formatClock, formatDay, formatInstant, nameSome } from "../parts/format.ts";
import { OfViewedRun } from "../parts/of-viewed-run.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { VERDICTS } from "../parts/run-note.tsx";
import { ownZone } from "../schedule/schedule-draft.ts";
import { link } from "../state/console-state.ts";
import { hrefAlong, hrefTo } from "../state/route.ts";
import { useRunList } from "../state/run-list.ts";
import type { RunView } from "../state/run-view.ts";

/** In the morning: what a night was, read in a minute. */
export const NightPage = () => (
  <OfViewedRun
    none={
      <>
        No run yet. <a href={hrefTo("run")}>Schedule one for the night</a>, with the scenario soak.
      </>
    }
    show={(view) => <NightOf key={view.runId} view={view} />}
  />
);

function NightOf({ view }: { readonly view: RunView }) {
  const { night, refusal, toldAt } = useNight(view.runId);
  const { report } = view;
  return (
    <div class="night-page">
      <OtherNights shown={view.runId} />
      {night === null && refusal !== null && <RefusalNote refusal={refusal} />}
      {night === null && refusal === null && <Awaited what="the night" />}
      {night !== null && (
        <>
          <header class="night-head">
            <p class="verdict">
              {report !== null ? VERDICTS[report.verdict] : night.isOver ? "No verdict" : "Under way"}
            </p>
            <p>
              {night.scenario}, {formatDay(night.startedAt)}, {clockOf(night.startedAt, 0)} to{" "}
              {clockOf(night.startedAt, night.untilMs)}
              {night.isOver ? "" : " so far"} ({formatMs(night.untilMs)}).
            </p>
            <p>
              <b>{night.headline}</b>
            </p>
            <p>
              {sayCounted(night)} {sayIncidents(night)}
            </p>
            <p class="small soft">
              Times are in {ownZone()}, by this page's clock.
              {toldAt !== null && (link.value.kind !== "on" || !night.isOver) && ` As told at ${formatClock(toldAt)}.`}
            </p>
          </header>
          {night.patterns.length > 0 && (
            <section>
              <h2>What repeats</h2>
              {night.patterns.map(({ sentence }) => (
                <p key={sentence}>{sentence}</p>
              ))}
            </section>
          )}
          {night.worst.length > 0 && (
            <section>
              <h2>Worst incidents</h2>
              <ol class="night-incidents">
                {night.worst.map((one, index) => (
                  <li key={`${one.fromMs} ${index}`}>
                    <span class="at">{clockOf(night.startedAt, one.fromMs)}</span> {one.title}
                  </li>
                ))}
              </ol>
              {night.incidents.length > night.worst.length && (
                <p class="small soft">
                  and {night.incidents.length - night.worst.length} more, which{" "}
                  <a href={hrefAlong("findings")}>the findings page</a> and the report have
                </p>
              )}
            </section>
          )}
          <NightStrips night={night} />
          <Unwatched night={night} />
        </>
      )}
    </div>
  );
}

/** What nobody knows of that night. */
function Unwatched({ night }: { readonly night: Night }) {
  const { unwatched, summarised, startedAt } = night;
  const alike = unwatchedAlike(unwatched);
  if (unwatched.length + summarised.length === 0) return null;
  return (
    <section>
      <h2>What is not known</h2>
      <ul class="plain">
        {alike.slice(0, MOST_UNWATCHED).map(({ agents, fromMs, toMs, why }, index) => (
          <li key={index}>
            <span class="at">
              {clockOf(startedAt, fromMs)} to {clockOf(startedAt, toMs)}
            </span>{" "}
            {agents.length === 1
              ? `${agents[0]} ${UNWATCHED_WORDS[why]}`
              : `${agents.length} hosts ${UNWATCHED_WORDS[why]}: ${nameSome(agents)}`}
          </li>
        ))}
        {alike.length > MOST_UNWATCHED && <li class="soft">and {alike.length - MOST_UNWATCHED} more</li>}
        {summarised.map((sentence) => (
          <li key={sentence}>{sentence}</li>
        ))}
      </ul>
    </section>
  );
}

const MOST_UNWATCHED = 12;

/** Other runs that lasted long enough to be read like this: a short run in the morning hides no night. */
function OtherNights({ shown }: { readonly shown: string }) {
  const { runs } = useRunList();
  const long = (runs ?? []).filter(
    ({ runId, startedAt, endedAt }) =>
      runId !== shown &&
      startedAt !== null &&
      endedAt !== null &&
      Date.parse(endedAt) - Date.parse(startedAt) >= LONG_MS,
  );
  const [newest] = long;
  if (newest === undefined) return null;
  return (
    <p class="small">
      Other long runs:{" "}
      {long.slice(0, MOST_OTHERS).map((one, index) => (
        <span key={one.runId}>
          {index > 0 && ", "}
          <a href={hrefTo("night", one.runId)}>
            {one.scenario}, {formatInstant(one.startedAt ?? one.createdAt)}
          </a>
        </span>
      ))}
      {long.length > MOST_OTHERS && (
        <>
          {" "}
          and <a href={hrefTo("runs")}>{long.length - MOST_OTHERS} more</a>
        </>
      )}
    </p>
  );
}

/** As the report takes a run for a long one (its summary of the night begins there). */
const LONG_MS = 900_000;
const MOST_OTHERS = 4;
