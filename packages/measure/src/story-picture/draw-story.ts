import type { RunStory } from "@dyetrace/wire";
import { type DrawnMark, drawMarks } from "./draw-marks.ts";
import { drawTables, drawTimers, NOTE_PX } from "./draw-timers.ts";
import { clampedX, isShown, round, type Shape, type TimeScale, textWidth, words, xOf } from "./picture-shape.ts";
import { type StoryRow, storyRows } from "./story-rows.ts";
import { tickWords, timeTicks } from "./time-ticks.ts";

/** Which part of a story is drawn, and how wide. */
export interface StoryView {
  readonly width: number;
  readonly fromMs: number;
  readonly toMs: number;
}

export interface StoryPicture {
  readonly width: number;
  readonly height: number;
  readonly shapes: readonly Shape[];
  /** For whoever does not see it. */
  readonly label: string;
  /** What is not drawn, by name. */
  readonly unseen: readonly string[];
  /** Where the time lies in it, in pixels. */
  readonly left: number;
  readonly right: number;
}

/** Narrower than this, names stand above their rows instead of before them. */
const NARROW_PX = 640;
const NAMES_PX = 250;
const MARGIN_PX = 12;
const AXIS_PX = 26;
const MARKS_PX = 15;
const TIMER_PX = 24;
const DATA_PX = 7;
const GAP_PX = 10;
const NAME_PX = 13;
const LINE_PX = 14;
const TICK_PX = 84;

/** A story as a picture: time from left to right, a row for each lane and group. Pure. */
export function drawStory(story: RunStory, view: StoryView): StoryPicture {
  const isNarrow = view.width < NARROW_PX;
  const scale: TimeScale = {
    fromMs: view.fromMs,
    toMs: view.toMs,
    left: isNarrow ? MARGIN_PX : NAMES_PX,
    right: view.width - MARGIN_PX,
  };
  const { rows, unseen } = storyRows(story);
  let y = AXIS_PX + GAP_PX;
  const placed = rows.map((row) => {
    const one = place(row, y, isNarrow);
    y = one.bottom + GAP_PX;
    return one;
  });
  const height = y + 4;
  const drawn = placed.map((one) => drawRow(one, scale, isNarrow));
  const shapes = [
    ...grid(scale, height),
    ...placed.map(({ top }): Shape => rule(top - GAP_PX / 2, view.width)),
    ...drawn.flatMap(({ marks }) => heardLines(marks, placed)),
    ...drawn.flatMap(({ shapes: own }) => own),
  ];
  const label =
    `Who asked, who answered and when data came, from ${seconds(view.fromMs)} to ${seconds(view.toMs)} of the run: ` +
    `${rows.length} rows. The list of messages says the same in words.`;
  return { width: view.width, height: round(height), shapes, label, unseen, left: scale.left, right: scale.right };
}

const seconds = (ms: number): string => `${(ms / 1000).toFixed(1)} s`;

interface PlacedRow {
  readonly row: StoryRow;
  readonly top: number;
  readonly marksY: number;
  readonly timerTop: number;
  readonly timerHeight: number;
  readonly dataTop: number;
  readonly bottom: number;
  /** First baseline of its names. */
  readonly nameY: number;
}

function place(row: StoryRow, top: number, isNarrow: boolean): PlacedRow {
  const hasTimers = row.timers.length > 0 || row.tables.length > 0;
  const lines = row.timer === "" ? 1 : 2;
  const namesHeight = isNarrow ? lines * LINE_PX + 3 : 0;
  const marksHeight = row.marks.length > 0 ? MARKS_PX : 0;
  const timerTop = top + namesHeight + marksHeight;
  const timerHeight = hasTimers ? TIMER_PX : 0;
  const dataTop = timerTop + timerHeight + 2;
  const content = dataTop + (row.data.length > 0 ? DATA_PX : 0);
  const names = isNarrow ? 0 : (row.timer === "" ? 2 : 3) * LINE_PX + 2;
  return {
    row,
    top,
    marksY: top + namesHeight + MARKS_PX / 2,
    timerTop,
    timerHeight,
    dataTop,
    bottom: Math.max(content, top + names),
    nameY: top + 11,
  };
}

function drawRow(
  placed: PlacedRow,
  scale: TimeScale,
  isNarrow: boolean,
): { readonly shapes: readonly Shape[]; readonly marks: readonly DrawnMark[] } {
  const { row, marksY, timerTop, timerHeight, dataTop } = placed;
  const { shapes: marks, drawn } = drawMarks(row.marks, scale, marksY);
  const timerPlace = { scale, top: timerTop, height: timerHeight, mostMs: mostOf(row) };
  return {
    marks: drawn,
    shapes: [
      ...names(placed, scale, isNarrow),
      ...drawTimers(row.timers, timerPlace),
      ...drawTables(row.tables, timerPlace),
      ...row.data
        .filter(({ fromMs, toMs }) => isShown(scale, fromMs, toMs))
        .map(({ fromMs, toMs, how, stream }): Shape => {
          const x = clampedX(scale, fromMs);
          const width = Math.max(1.5, round(clampedX(scale, toMs) - x));
          const title = `${stream} ${HOW[how]} from ${(fromMs / 1000).toFixed(2)} s to ${(toMs / 1000).toFixed(2)} s`;
          return {
            tag: "rect",
            attributes: { class: `story-data ${how}`, x, y: dataTop, width, height: DATA_PX },
            title,
          };
        }),
      ...marks,
    ],
  };
}

const HOW = { sent: "was sent", received: "was received", seen: "came, not asked for," } as const;

function mostOf({ timers, tables }: StoryRow): number {
  let most = 1;
  for (const { valueMs } of timers) most = Math.max(most, valueMs);
  for (const { readings } of tables) for (const [, leftMs] of readings) most = Math.max(most, leftMs ?? 0);
  return most;
}

/** Places upright, water in italics, as on a map. */
function names({ row, nameY }: PlacedRow, { left, right }: TimeScale, isNarrow: boolean): Shape[] {
  const { name, about, timer, group } = row;
  const aboutClass = group === null ? "story-note" : "story-group";
  if (isNarrow) {
    const x = left + textWidth(name, NAME_PX) + 10;
    return [
      words("story-name", left, nameY, name),
      words(aboutClass, x, nameY, shorten(about, right - x, 12)),
      ...(timer === "" ? [] : [words("story-note", left, nameY + LINE_PX, shorten(timer, right - left, NOTE_PX))]),
    ];
  }
  const room = left - MARGIN_PX - 10;
  return [
    words("story-name", MARGIN_PX, nameY, shorten(name, room, NAME_PX)),
    words(aboutClass, MARGIN_PX, nameY + LINE_PX, shorten(about, room, 12)),
    ...(timer === "" ? [] : [words("story-note", MARGIN_PX, nameY + 2 * LINE_PX, shorten(timer, room, NOTE_PX))]),
  ];
}

function shorten(text: string, roomPx: number, sizePx: number): string {
  const letters = Math.max(3, Math.floor(roomPx / (sizePx * 0.5)));
  return text.length <= letters ? text : `${text.slice(0, letters - 1)}…`;
}

const rule = (y: number, width: number): Shape => ({
  tag: "path",
  attributes: { class: "story-rule", d: `M0 ${round(y)}H${width}` },
});

function grid(scale: TimeScale, height: number): Shape[] {
  const most = Math.max(2, Math.floor((scale.right - scale.left) / TICK_PX));
  const { ms, stepMs } = timeTicks(scale.fromMs, scale.toMs, most);
  return ms.flatMap((atMs): Shape[] => {
    const x = xOf(scale, atMs);
    const text = tickWords(atMs, stepMs);
    const half = textWidth(text, 11) / 2;
    const at = Math.min(scale.right + MARGIN_PX - half - 2, Math.max(scale.left - MARGIN_PX + half + 2, x));
    return [
      {
        tag: "path",
        attributes: {
          class: atMs === 0 ? "story-grid start" : "story-grid",
          d: `M${x} ${AXIS_PX - 6}V${round(height)}`,
        },
      },
      words("story-axis", at, AXIS_PX - 11, text, "middle"),
    ];
  });
}

/** From who said something to everybody who heard it, as far as they have a row: a thread down or up, with a knot at each. */
function heardLines(marks: readonly DrawnMark[], placed: readonly PlacedRow[]): Shape[] {
  return marks.flatMap(({ mark, x }): Shape[] => {
    if (mark.heardBy.length === 0) return [];
    const from = placed.find(({ row }) => row.lane === mark.lane && (row.group === null || row.group === mark.group));
    const heard = placed.filter(
      ({ row }) =>
        mark.heardBy.includes(row.lane) &&
        (row.group === null ||
          (mark.group === null ? familyOf(row.group) === familyOfMark(mark.protocol) : row.group === mark.group)),
    );
    if (from === undefined || heard.length === 0) return [];
    const ys = [from.marksY, ...heard.map(({ marksY }) => marksY)];
    const knots = heard.map(({ marksY }) => `M${round(x - 1.5)} ${round(marksY)}h3`).join("");
    return [
      {
        tag: "path",
        attributes: {
          class: `story-thread ${mark.kind}`,
          d: `M${x} ${round(Math.min(...ys))}V${round(Math.max(...ys))}`,
        },
      },
      { tag: "path", attributes: { class: `story-knot ${mark.kind}`, d: knots } },
    ];
  });
}

const familyOf = (group: string): 4 | 6 => (group.includes(":") ? 6 : 4);
const familyOfMark = (protocol: string | null): 4 | 6 => (protocol === "mld" ? 6 : 4);
