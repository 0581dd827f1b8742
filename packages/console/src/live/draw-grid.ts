import { niceStep } from "@dyetrace/picture";
import type { LiveHeard } from "@dyetrace/wire/console/live-second";
import { formatClock } from "../parts/format.ts";
import type { LiveHistory } from "../state/live-history.ts";
import type { GridLayout } from "./grid-layout.ts";
import { type GridInks, STRIP_HEIGHT, StripBrush } from "./strip-brush.ts";

export interface GridStream {
  readonly streamId: number;
  readonly name: string;
  readonly source: string;
  readonly group: string;
}

export interface GridScene {
  readonly layout: GridLayout & { readonly hasWords: boolean };
  readonly agents: readonly string[];
  readonly streams: readonly GridStream[];
  readonly history: LiveHistory;
  readonly heard: readonly LiveHeard[];
  /** The second at the right edge of every strip. */
  readonly lastSecond: number;
  /** The newest second that anyone told of. */
  readonly latestSecond: number;
  /** Since 1970; null before the start is known. */
  readonly startedAtMs: number | null;
  readonly selection: { readonly row: number; readonly column: number } | null;
  readonly scroll: { readonly x: number; readonly y: number };
  readonly size: { readonly width: number; readonly height: number };
  /** What to write beside a strip. */
  readonly words: (agent: string, stream: GridStream) => string;
}

/** Draws the part of the grid that is in sight. Every mark has a shape of its own; colour only helps. */
export function drawGrid(context: CanvasRenderingContext2D, scene: GridScene, inks: GridInks): void {
  const { layout, agents, streams, scroll, size } = scene;
  context.clearRect(0, 0, size.width, size.height);
  const firstRow = Math.max(0, Math.floor((scroll.y - layout.headHeight) / layout.rowHeight));
  const rows = Math.ceil(size.height / layout.rowHeight) + 2;
  const firstColumn = Math.max(0, Math.floor(scroll.x / layout.columnWidth));
  const columns = Math.ceil(size.width / layout.columnWidth) + 1;
  const shownStreams = streams.slice(firstColumn, firstColumn + columns);
  const brush = new StripBrush(context, inks, layout);
  for (const [offset, agent] of agents.slice(firstRow, firstRow + rows).entries()) {
    const row = firstRow + offset;
    const y = layout.headHeight + row * layout.rowHeight - scroll.y;
    if (y < layout.headHeight - layout.rowHeight) continue;
    for (const [columnOffset, stream] of shownStreams.entries()) {
      const column = firstColumn + columnOffset;
      const x = layout.nameWidth + column * layout.columnWidth - scroll.x;
      const top = y + (layout.rowHeight - STRIP_HEIGHT) / 2 - 3;
      if (stream.source === agent) {
        write(context, "source", x, top + 13, inks.waterFont, inks.soft);
        continue;
      }
      brush.strip(x, top, scene.history.strip(agent, stream.streamId), scene);
      if (layout.hasWords) {
        write(context, scene.words(agent, stream), x + layout.stripWidth + 10, top + 13, inks.placeFont, inks.ink);
      }
      if (scene.selection?.row === row && scene.selection.column === column) {
        context.strokeStyle = inks.ink;
        context.lineWidth = 2;
        context.strokeRect(x - 3, top - 4, layout.stripWidth + 6, STRIP_HEIGHT + 12);
      }
    }
  }
  brush.paint();
  drawHeard(context, scene, inks, firstRow, rows);
  drawHead(context, scene, inks, firstColumn, shownStreams);
  drawNames(context, scene, inks, firstRow, rows);
}

function write(context: CanvasRenderingContext2D, text: string, x: number, y: number, font: string, ink: string): void {
  context.font = font;
  context.fillStyle = ink;
  context.fillText(text, x, y);
}

const NAME_INDENT = 12;

/** Joins point up into the strip, leaves point down out of it. */
function drawHeard(
  context: CanvasRenderingContext2D,
  scene: GridScene,
  inks: GridInks,
  firstRow: number,
  rows: number,
): void {
  const { layout, scroll } = scene;
  context.fillStyle = inks.ink;
  for (const event of scene.heard) {
    if (!event.isOwn || (event.what !== "join" && event.what !== "leave")) continue;
    const row = scene.agents.indexOf(event.agent);
    if (row < firstRow || row > firstRow + rows) continue;
    for (const [column, stream] of scene.streams.entries()) {
      if (stream.group !== event.group) continue;
      const x = timeX(scene, column, event.atMs);
      if (x === null) continue;
      const y = layout.headHeight + row * layout.rowHeight - scroll.y + (layout.rowHeight + STRIP_HEIGHT) / 2 - 1;
      triangle(context, x, y, event.what === "join" ? -1 : 1);
    }
  }
}

function triangle(context: CanvasRenderingContext2D, x: number, y: number, points: 1 | -1): void {
  context.beginPath();
  context.moveTo(x - 4, y - points * -3);
  context.lineTo(x + 4, y - points * -3);
  context.lineTo(x, y - points * -3 + points * 6);
  context.closePath();
  context.fill();
}

/** @returns null where that instant is not in sight */
function timeX({ layout, lastSecond, scroll }: GridScene, column: number, atMs: number): number | null {
  const offset = (atMs / 1000 - (lastSecond - layout.seconds + 1)) * layout.secondWidth;
  if (offset < 0 || offset > layout.stripWidth) return null;
  return layout.nameWidth + column * layout.columnWidth - scroll.x + offset;
}

/** Names of the streams, and below them a tick for each query that was heard. */
function drawHead(
  context: CanvasRenderingContext2D,
  scene: GridScene,
  inks: GridInks,
  firstColumn: number,
  streams: readonly GridStream[],
): void {
  const { layout, scroll, size } = scene;
  context.fillStyle = inks.ground;
  context.fillRect(0, 0, size.width, layout.headHeight);
  const asked = new Set<number>();
  for (const [offset, stream] of streams.entries()) {
    const column = firstColumn + offset;
    const x = layout.nameWidth + column * layout.columnWidth - scroll.x;
    write(context, stream.name, x, 17, inks.waterFont, inks.ink);
    context.fillStyle = inks.soft;
    context.fillRect(x, layout.headHeight - 5, layout.stripWidth, 1);
    drawTimes(context, scene, inks, x);
    context.fillStyle = inks.ink;
    asked.clear();
    for (const event of scene.heard) {
      if (event.what !== "query" || (event.group !== null && event.group !== stream.group)) continue;
      const at = timeX(scene, column, event.atMs);
      if (at === null || asked.has(Math.round(at))) continue;
      asked.add(Math.round(at));
      const height = event.group === null ? 9 : 5;
      context.fillRect(at - 0.75, layout.headHeight - 4 - height, 1.5, height);
    }
  }
}

const LEAST_BETWEEN_TIMES = 64;

/** The run's seconds along the head of a column, each with the time of day. @param x where its strips begin */
function drawTimes(context: CanvasRenderingContext2D, scene: GridScene, inks: GridInks, x: number): void {
  const { layout, lastSecond, startedAtMs } = scene;
  const first = lastSecond - layout.seconds + 1;
  const step = Math.max(1, niceStep(layout.seconds, Math.max(2, Math.floor(layout.stripWidth / LEAST_BETWEEN_TIMES))));
  for (let second = Math.ceil(first / step) * step; second <= lastSecond; second += step) {
    const at = x + (second - first) * layout.secondWidth;
    context.fillStyle = inks.soft;
    context.fillRect(at, layout.headHeight - 9, 1, 5);
    write(context, `${second} s`, at, layout.headHeight - 34, inks.timeFont, inks.quiet);
    if (startedAtMs === null) continue;
    const clock = formatClock(new Date(startedAtMs + second * 1000));
    write(context, clock, at, layout.headHeight - 20, inks.timeFont, inks.quiet);
  }
}

function drawNames(
  context: CanvasRenderingContext2D,
  scene: GridScene,
  inks: GridInks,
  firstRow: number,
  rows: number,
): void {
  const { layout, scroll, size, agents } = scene;
  context.fillStyle = inks.ground;
  context.fillRect(0, layout.headHeight, layout.nameWidth - 8, size.height);
  context.fillRect(0, 0, layout.nameWidth - 8, layout.headHeight);
  for (const [offset, agent] of agents.slice(firstRow, firstRow + rows).entries()) {
    const y = layout.headHeight + (firstRow + offset) * layout.rowHeight - scroll.y;
    if (y < layout.headHeight - 12) continue;
    write(context, agent, NAME_INDENT, y + 19, inks.placeFont, inks.ink);
  }
}
