import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { useState } from "preact/hooks";
import type { GridStream } from "../live/draw-grid.ts";
import { type GridSelection, LiveGrid } from "../live/live-grid.tsx";
import { StripDetail } from "../live/strip-detail.tsx";
import { StripKey } from "../live/strip-key.tsx";
import { sayNow, sayStrip } from "../live/strip-words.ts";
import { summariseLive } from "../live/summarise-live.ts";
import { OfViewedRun } from "../parts/of-viewed-run.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { heard, history, isRunning, link, liveVersion } from "../state/console-state.ts";
import { KEPT_SECONDS } from "../state/live-history.ts";
import { hrefAlong } from "../state/route.ts";
import { runTimeMs, useRunTimeMs } from "../state/run-clock.ts";
import type { RunView } from "../state/run-view.ts";
import { stripNews } from "../state/strip-news.ts";

/** Listeners by streams, second by second. */
export const LivePage = () => (
  <OfViewedRun
    none={
      <>
        Nothing has run since this controller was started. <a href={hrefAlong("run")}>Start a run</a> and every listener
        shows here, second by second.
      </>
    }
    show={(view) => (view.live === null ? <RunOfThePast view={view} /> : <LiveView run={view.live} />)}
  />
);

const RunOfThePast = ({ view }: { readonly view: RunView }) => (
  <>
    <RunNote view={view} />
    <p class="empty">
      What came second by second is shown of the newest run alone. Of this one there are{" "}
      <a href={hrefAlong("findings")}>findings and figures</a> and <a href={hrefAlong("map")}>the map</a>.
    </p>
  </>
);

function LiveView({ run: current }: { readonly run: ConsoleRun }) {
  useRunTimeMs(1000);
  liveVersion.value; // drawn again with every batch
  const [selection, setSelection] = useState<GridSelection | null>(null);
  const isOn = link.value.kind === "on";
  const agents = current.drawing.nodes.flatMap(({ agent }) => agent ?? []);
  const listeners = agents.filter((agent) => current.outline.streams.some(({ source }) => source !== agent));
  const { streams } = current.outline;
  const second = Math.floor((runTimeMs() ?? 0) / 1000);
  const summary = summariseLive(
    current,
    listeners,
    history,
    isRunning.value ? { kind: "now", second } : { kind: "over" },
  );
  const words = (agent: string, stream: GridStream): string => wordsBeside(agent, stream);
  const state = !isOn
    ? "As it was when the controller was last heard"
    : isRunning.value
      ? "Now"
      : overWords(current.lastsMs);
  return (
    <div class="live-page">
      <div class="live-head">
        <h2>{current.outline.scenario}</h2>
        <p class={isOn ? undefined : "soft"}>
          <b>{state}:</b> {summary.sentence}
        </p>
        {summary.worst.length > 0 && (
          <ul class="worst">
            {summary.worst.map(({ agent, stream, says }) => (
              <li key={`${agent} ${stream.streamId}`}>
                <button
                  type="button"
                  class="press small"
                  onClick={() => setSelection({ agent, streamId: stream.streamId })}
                >
                  {agent} <span class="water">{stream.name}</span> {says}
                </button>
              </li>
            ))}
          </ul>
        )}
        {summary.moreBad > 0 && <p class="small soft">and {summary.moreBad} more, below</p>}
      </div>
      <LiveGrid
        agents={listeners}
        streams={streams}
        latestSecond={history.latestSecond}
        lastsSeconds={(current.lastsMs ?? 60_000) / 1000}
        startedAtMs={current.startedAt === null ? null : Date.parse(current.startedAt)}
        selection={selection}
        onSelect={setSelection}
        words={words}
        label={`${listeners.length} listeners by ${streams.length} streams. ${summary.sentence} Arrow keys walk from strip to strip.`}
      />
      <div aria-live="polite">{selection !== null && <StripDetail run={current} selection={selection} />}</div>
      <div class="live-below">
        <StripKey />
        <section>
          <h3>Membership messages</h3>
          <ul class="heard">
            {heard.value
              .toSorted((a, b) => b.atMs - a.atMs)
              .slice(0, MOST_MESSAGES)
              .map((event, index) => (
                <li key={`${heard.value.length - index}`}>
                  <span class="at">{sayAt(event.atMs)}</span> {sayHeard(event)}
                </li>
              ))}
            {heard.value.length === 0 && <li class="soft">None heard.</li>}
          </ul>
        </section>
      </div>
    </div>
  );
}

/** Messages listed, the newest first. */
const MOST_MESSAGES = 14;

function wordsBeside(agent: string, stream: GridStream): string {
  const strip = history.strip(agent, stream.streamId);
  const whose = strip?.isOfHost === true ? " (its own program)" : "";
  if (!isRunning.value) return `${sayStrip(history.allMarks(agent, stream.streamId))}${whose}`;
  const { mark, isNow } = stripNews(strip, Math.floor((runTimeMs() ?? 0) / 1000));
  return `${sayNow(mark, isNow, strip?.last ?? null)}${whose}`;
}

/** Only so many seconds are kept: of a longer run the sentence tells of its end alone. */
const overWords = (lastsMs: number | null): string =>
  lastsMs !== null && lastsMs <= KEPT_SECONDS * 1000 ? "Over the run" : `Over the last ${KEPT_SECONDS} s of the run`;

const sayAt = (atMs: number): string => {
  const seconds = `${Math.abs(atMs / 1000).toFixed(1)} s`;
  return atMs <= -50 ? `${seconds} before` : seconds;
};

function sayHeard(event: (typeof heard.value)[number]): string {
  const about = event.group === null ? "all groups" : event.group;
  const who = event.isOwn ? event.agent : event.from;
  switch (event.what) {
    case "query":
      return `${event.agent} heard a query for ${about} from ${event.from} (${event.version})`;
    case "join":
      return `${who} joins ${about} (${event.version})${event.isOwn ? "" : `, heard by ${event.agent}`}`;
    case "leave":
      return `${who} leaves ${about} (${event.version})${event.isOwn ? "" : `, heard by ${event.agent}`}`;
    case "report":
      return `${who} reports ${about} (${event.version})${event.isOwn ? "" : `, heard by ${event.agent}`}`;
  }
}
