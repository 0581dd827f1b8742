import { useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";
import { heard, history, liveVersion } from "../state/console-state.ts";
import { KEPT_SECONDS } from "../state/live-history.ts";
import { drawGrid, type GridScene, type GridStream } from "./draw-grid.ts";
import { layOutGrid } from "./grid-layout.ts";
import { inksOf } from "./inks-of.ts";

export interface GridSelection {
  readonly agent: string;
  readonly streamId: number;
}

export interface LiveGridProps {
  readonly agents: readonly string[];
  readonly streams: readonly GridStream[];
  /** The newest second that anyone told of. */
  readonly latestSecond: number;
  readonly lastsSeconds: number;
  /** Since 1970; null before the start is known. */
  readonly startedAtMs: number | null;
  readonly selection: GridSelection | null;
  readonly onSelect: (selection: GridSelection) => void;
  readonly words: (agent: string, stream: GridStream) => string;
  readonly label: string;
}

const MOST_HEIGHT = 0.72;

/** Listeners down, streams across; in each cell the last seconds of one listener, a mark a second. */
export function LiveGrid(props: LiveGridProps) {
  const { agents, streams, selection } = props;
  const frame = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const [size, setSize] = useState<{ readonly width: number; readonly height: number } | null>(null);
  const nameWidth = nameWidthOf(agents);
  const layout =
    size === null
      ? null
      : layOutGrid({
          rows: agents.length,
          columns: streams.length,
          width: size.width,
          nameWidth,
          kept: KEPT_SECONDS,
          lasts: props.lastsSeconds,
        });
  const row = selection === null ? -1 : agents.indexOf(selection.agent);
  const column = selection === null ? -1 : streams.findIndex(({ streamId }) => streamId === selection.streamId);
  const version = liveVersion.value;
  const events = heard.value;

  useLayoutEffect(() => {
    const element = frame.current;
    if (element === null) return;
    const measure = (): void => setSize({ width: element.clientWidth, height: element.clientHeight });
    measure();
    const observer = new ResizeObserver(measure);
    observer.observe(element);
    return () => observer.disconnect();
  }, []);

  const draw = (): void => {
    const element = canvas.current;
    const box = frame.current;
    const context = element?.getContext("2d");
    if (element === null || box === null || context === null || context === undefined || layout === null) return;
    const sharpness = Math.min(2, devicePixelRatio);
    const width = box.clientWidth;
    const height = box.clientHeight;
    if (element.width !== Math.round(width * sharpness) || element.height !== Math.round(height * sharpness)) {
      element.width = Math.round(width * sharpness);
      element.height = Math.round(height * sharpness);
      element.style.width = `${width}px`;
      element.style.height = `${height}px`;
    }
    context.setTransform(sharpness, 0, 0, sharpness, 0, 0);
    const scene: GridScene = {
      layout,
      agents,
      streams,
      history,
      heard: events,
      // A strip fills from the left, and when it is full it moves on.
      lastSecond: Math.max(props.latestSecond, layout.seconds - 1),
      latestSecond: props.latestSecond,
      startedAtMs: props.startedAtMs,
      selection: row < 0 || column < 0 ? null : { row, column },
      scroll: { x: box.scrollLeft, y: box.scrollTop },
      size: { width, height },
      words: props.words,
    };
    drawGrid(context, scene, inksOf(element));
  };
  useEffect(draw, [
    layout?.width,
    layout?.height,
    size,
    version,
    events,
    props.latestSecond,
    props.startedAtMs,
    row,
    column,
  ]);
  useEffect(() => {
    const night = matchMedia("(prefers-color-scheme: dark)");
    night.addEventListener("change", draw);
    return () => night.removeEventListener("change", draw);
  });

  const select = (nextRow: number, nextColumn: number): void => {
    const agent = agents[Math.min(agents.length - 1, Math.max(0, nextRow))];
    const stream = streams[Math.min(streams.length - 1, Math.max(0, nextColumn))];
    if (agent === undefined || stream === undefined || layout === null || frame.current === null) return;
    props.onSelect({ agent, streamId: stream.streamId });
    bringIntoSight(frame.current, layout, agents.indexOf(agent), streams.indexOf(stream));
  };
  return (
    // A canvas of two thousand strips: the arrow keys walk them, and what is under them is said below the grid.
    <div
      class="live-frame"
      ref={frame}
      style={{ maxHeight: `${MOST_HEIGHT * 100}vh`, height: layout === null ? undefined : `${layout.height + 8}px` }}
      // biome-ignore lint/a11y/noNoninteractiveTabindex: the arrow keys walk the strips, so it needs the focus; WAI-ARIA has the role "application" for such keys, and the rule takes it for text
      tabIndex={0}
      role="application"
      aria-roledescription="grid of strips"
      aria-label={props.label}
      onScroll={draw}
      onKeyDown={(event) => {
        const step = STEPS[event.key];
        if (step === undefined) return;
        event.preventDefault();
        select(Math.max(0, row) + step[0], Math.max(0, column) + step[1]);
      }}
      onClick={(event) => {
        if (layout === null || frame.current === null) return;
        const box = frame.current.getBoundingClientRect();
        const y = event.clientY - box.top + frame.current.scrollTop - layout.headHeight;
        const x = event.clientX - box.left + frame.current.scrollLeft - layout.nameWidth;
        if (y >= 0) select(Math.floor(y / layout.rowHeight), Math.max(0, Math.floor(x / layout.columnWidth)));
      }}
    >
      <canvas ref={canvas} />
      {layout !== null && (
        <div class="live-extent" style={{ width: `${layout.width}px`, height: `${layout.height}px` }} />
      )}
    </div>
  );
}

const STEPS: Readonly<Record<string, readonly [rows: number, columns: number]>> = {
  ArrowUp: [-1, 0],
  ArrowDown: [1, 0],
  ArrowLeft: [0, -1],
  ArrowRight: [0, 1],
};

function bringIntoSight(
  frame: HTMLElement,
  layout: { nameWidth: number; headHeight: number; rowHeight: number; columnWidth: number; stripWidth: number },
  row: number,
  column: number,
): void {
  const top = row * layout.rowHeight;
  const bottom = layout.headHeight + top + layout.rowHeight;
  if (frame.scrollTop > top) frame.scrollTop = top;
  else if (frame.scrollTop + frame.clientHeight < bottom) frame.scrollTop = bottom - frame.clientHeight;
  const left = column * layout.columnWidth;
  const right = layout.nameWidth + left + layout.stripWidth + 8;
  if (frame.scrollLeft > left) frame.scrollLeft = left;
  else if (frame.scrollLeft + frame.clientWidth < right) frame.scrollLeft = right - frame.clientWidth;
}

const LEAST_NAME = 64;
const MOST_NAME = 170;
const nameWidthOf = (agents: readonly string[]): number =>
  Math.min(MOST_NAME, Math.max(LEAST_NAME, 30 + 7.4 * Math.max(0, ...agents.map((agent) => agent.length))));
