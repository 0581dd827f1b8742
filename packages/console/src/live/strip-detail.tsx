import { formatRateBps } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveFigures, LiveSeries } from "@dyetrace/wire/console/live-second";
import { useEffect, useRef, useState } from "preact/hooks";
import { askController } from "../link/ask-controller.ts";
import { formatCount, formatMs, orUnknown } from "../parts/format.ts";
import { Figure } from "../parts/place-note.tsx";
import { history, isRunning, link, liveVersion } from "../state/console-state.ts";
import type { GridSelection } from "./live-grid.tsx";
import { drawSeries, type SeriesChart } from "./series-chart.ts";
import { sayMark } from "./summarise-live.ts";

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
        <p>{agent === stream.source ? "sends this stream" : sayMark(strip?.marks.at(-1) ?? " ")}</p>
        <LatestFigures figures={strip?.last ?? null} />
      </div>
      <SeriesView series={series} />
    </section>
  );
}

function LatestFigures({ figures }: { readonly figures: LiveFigures | null }) {
  if (figures === null) return <p class="small soft">No figures: it has not joined.</p>;
  return (
    <dl class="figures">
      <Figure of="rate">{formatRateBps(figures.rateBps)}</Figure>
      <Figure of="received">{formatCount(figures.received)} in the last second</Figure>
      <Figure of="lost">
        {figures.received === 0 && figures.lost === 0 ? "unknown while nothing comes" : formatCount(figures.lost)}
        {figures.hostLost !== null && figures.hostLost > 0 && `, ${formatCount(figures.hostLost)} in the host itself`}
      </Figure>
      <Figure of="jitter">{orUnknown(figures.jitterMs, formatMs)}</Figure>
      <Figure of="longest gap">{figures.longestGapMs === null ? "none" : formatMs(figures.longestGapMs)}</Figure>
    </dl>
  );
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
    if (element === null || series === null) return;
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
