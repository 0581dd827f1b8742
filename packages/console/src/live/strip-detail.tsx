import { formatMs, orUnknown } from "@dyetrace/picture";
import { formatCount, formatRateBps } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveFigures, LiveSeries } from "@dyetrace/wire/console/live-second";
import { useEffect, useRef, useState } from "preact/hooks";
import { askController } from "../link/ask-controller.ts";
import { OF_HOST_WORDS, sayLost } from "../parts/followed-words.ts";
import { Figure } from "../parts/place-note.tsx";
import { history, isRunning, link, liveVersion } from "../state/console-state.ts";
import type { HistoryStrip } from "../state/live-history.ts";
import { runTimeMs } from "../state/run-clock.ts";
import { stripNews } from "../state/strip-news.ts";
import type { GridSelection } from "./live-grid.tsx";
import { drawSeries, type SeriesChart } from "./series-chart.ts";
import { sayMark, sayNow } from "./strip-words.ts";

interface StripDetailProps {
  readonly run: ConsoleRun;
  readonly selection: GridSelection;
}

/** One listener and stream in figures: the latest second in words, the last minutes as lines. */
export function StripDetail({ run, selection }: StripDetailProps) {
  const { agent, streamId } = selection;
  const stream = run.outline.streams.find((one) => one.streamId === streamId);
  liveVersion.value; // its latest figures are drawn again with every batch
  const strip = history.strip(agent, streamId);
  const series = useSeries(run.runId, selection);
  if (stream === undefined) return null;
  return (
    <section class="strip-detail">
      <div>
        <h3>
          {agent} <span class="water">{stream.name}</span>
        </h3>
        {agent === stream.source ? (
          <p>sends this stream</p>
        ) : (
          <Latest
            strip={strip}
            nowSecond={
              isRunning.value ? Math.floor((runTimeMs() ?? 0) / 1000) : (strip?.from ?? 0) + (strip?.marks.length ?? 0)
            }
          />
        )}
      </div>
      <SeriesView series={series} />
    </section>
  );
}

/** The newest second that was told, and which one that is: what an agent said long ago is not so now. */
function Latest({ strip, nowSecond }: { readonly strip: HistoryStrip | null; readonly nowSecond: number }) {
  const { mark, isNow } = stripNews(strip, nowSecond);
  const figures = strip?.last ?? null;
  const second = strip === null ? null : strip.from + strip.marks.length - 1;
  return (
    <>
      <p>{sayNow(mark, isNow, null)}</p>
      {strip?.isOfHost === true && <p class="small">This host: {OF_HOST_WORDS}.</p>}
      {second !== null && <p class="small soft">Second {second}, the newest that it has reported.</p>}
      {figures !== null ? (
        <LatestFigures figures={figures} mark={strip?.marks.at(-1) ?? " "} />
      ) : (
        <p class="small soft">{noFigures(strip?.marks.at(-1) ?? " ")}</p>
      )}
    </>
  );
}

const noFigures = (mark: string): string =>
  mark === " " ? "No figures: its agent has reported none." : `No figures: ${sayMark(mark)}.`;

function LatestFigures({ figures, mark }: { readonly figures: LiveFigures; readonly mark: string }) {
  const isSilent = figures.received === 0;
  return (
    <dl class="figures">
      <Figure of="rate">{formatRateBps(figures.rateBps)}</Figure>
      <Figure of="received">{formatCount(figures.received)} in the last second</Figure>
      <Figure of="lost">
        {isSilent && figures.lost === 0 ? "unknown while nothing comes" : sayLost(figures)}
        {figures.hostLost !== null && figures.hostLost > 0 && `, ${formatCount(figures.hostLost)} in the host itself`}
      </Figure>
      <Figure of="jitter">{orUnknown(figures.jitterMs, formatMs)}</Figure>
      <Figure of="longest gap">{sayGap(figures, mark)}</Figure>
    </dl>
  );
}

/** A gap is told when its end has come: while nothing comes there is one, and nobody knows yet how long it will be. */
function sayGap({ received, lost, longestGapMs }: LiveFigures, mark: string): string {
  if (longestGapMs !== null) return formatMs(longestGapMs);
  if (received === 0) return mark === "." ? "nothing due" : "the whole second, and it goes on";
  return lost === 0 ? "none" : "unknown";
}

/** Asked for again with every new second of the run. */
function useSeries(runId: string, { agent, streamId }: GridSelection): LiveSeries | null {
  const [series, setSeries] = useState<LiveSeries | null>(null);
  const second = history.strip(agent, streamId)?.marks.length ?? 0;
  const latest = history.latestSecond;
  const isOn = link.value.kind === "on";
  useEffect(() => {
    setSeries(null);
  }, [runId, agent, streamId]);
  useEffect(() => {
    if (!isOn || second === 0) return;
    const gone = new AbortController();
    const path = ["/api/console/live", runId, agent, streamId].map((part, index) =>
      index === 0 ? part : encodeURIComponent(part),
    );
    askController<LiveSeries>(path.join("/"), { signal: gone.signal }).then(setSeries, () => {});
    return () => gone.abort();
  }, [runId, agent, streamId, latest, isOn, second === 0]);
  return series;
}

function SeriesView({ series }: { readonly series: LiveSeries | null }) {
  const frame = useRef<HTMLDivElement>(null);
  const chart = useRef<SeriesChart | null>(null);
  useEffect(() => {
    const element = frame.current;
    if (element === null || series === null || !series.figures.some((one) => one !== null)) return;
    if (chart.current !== null) {
      chart.current.update(series);
      return;
    }
    let isGone = false;
    void drawSeries(element, series).then((drawn) => {
      if (isGone) drawn.destroy();
      else chart.current = drawn;
    });
    return () => {
      isGone = chart.current === null;
    };
  }, [series]);
  useEffect(
    () => () => {
      chart.current?.destroy();
      chart.current = null;
    },
    [],
  );
  return (
    <figure class="series" aria-label={series === null ? "No figures yet" : saySeries(series)}>
      <div ref={frame} />
      {isRunning.value && series === null && <p class="small soft">Waiting for figures …</p>}
    </figure>
  );
}

function saySeries({ from, figures }: LiveSeries): string {
  const known = figures.filter((one) => one !== null);
  const lost = known.reduce((sum, one) => sum + one.lost, 0);
  return `Seconds ${from} to ${from + figures.length - 1}: ${formatCount(lost)} packets lost, as lines of rate and loss`;
}
