import type { StoryTable, StoryTimer } from "@dyetrace/wire";
import { SOURCES } from "../story/mark-words.ts";
import { sayMs } from "../story/say-span.ts";
import { clampedX, isShown, round, type Shape, type TimeScale, textWidth, words, xOf } from "./picture-shape.ts";

/** Where a row's timers are drawn: full height is `mostMs`. */
export interface TimerPlace {
  readonly scale: TimeScale;
  readonly top: number;
  readonly height: number;
  readonly mostMs: number;
}

export const NOTE_PX = 10.5;

/** Each run of a timer as a bar that runs down from its value: where it is cut off, something ended it before. */
export function drawTimers(timers: readonly StoryTimer[], place: TimerPlace): Shape[] {
  const shown = timers.filter(({ fromMs, toMs }) => isShown(place.scale, fromMs, toMs));
  return [...shown.map((timer) => bar(timer, place)), ...lastMemberWords(shown, place)];
}

function bar(timer: StoryTimer, { scale, top, height, mostMs }: TimerPlace): Shape {
  const { kind, name, reference, fromMs, toMs, valueMs, sum, source, end } = timer;
  const bottom = top + height;
  const leftAt = (atMs: number): number => Math.max(0, fromMs + valueMs - atMs);
  const yAt = (atMs: number): number => round(bottom - (Math.min(leftAt(atMs), mostMs) / mostMs) * height);
  const [beginMs, endMs] = [Math.max(fromMs, scale.fromMs), Math.min(toMs, scale.toMs)];
  // Told together, it was renewed all the while.
  const isMany = end === "renewed" && toMs - fromMs > valueMs;
  const [y1, y2] = isMany ? [top, top] : [yAt(beginMs), yAt(endMs)];
  const [x1, x2] = [clampedX(scale, beginMs), clampedX(scale, endMs)];
  const value = sayMs(valueMs) === sum ? sum : `${sum} = ${sayMs(valueMs)}`;
  const title = `${name} (${reference}): ${value}, ${SOURCES[source]}; ${secondsOf(fromMs)} to ${secondsOf(toMs)}, ${ENDS[end]}`;
  return {
    tag: "g",
    attributes: { class: `story-timer ${kind}${end === "ran-out" ? " ran-out" : ""}` },
    title,
    children: [
      { tag: "path", attributes: { class: "story-run", d: `M${x1} ${bottom}V${y1}L${x2} ${y2}V${bottom}Z` } },
      { tag: "path", attributes: { class: "story-edge", d: `M${x1} ${y1}L${x2} ${y2}` } },
      ...(end === "ran-out" && toMs <= scale.toMs
        ? [{ tag: "path", attributes: { class: "story-end", d: `M${x2} ${top}V${bottom}` } } as const]
        : []),
    ],
  };
}

const secondsOf = (ms: number): string => `${(ms / 1000).toFixed(2)} s`;

const ENDS: Readonly<Record<StoryTimer["end"], string>> = {
  renewed: "set anew",
  "ran-out": "ran out",
  shortened: "cut short by a query about the group",
  open: "still running",
};

/** The name of a timer that runs after a leave stands behind it where there is room. */
function lastMemberWords(timers: readonly StoryTimer[], { scale, top, height }: TimerPlace): Shape[] {
  return timers.flatMap((timer, index) => {
    if (timer.kind !== "last-member") return [];
    const text = `${timer.name} ${sayMs(timer.valueMs)}`;
    const from = clampedX(scale, timer.toMs) + 8;
    const next = timers.slice(index + 1).find(({ fromMs }) => fromMs >= timer.toMs);
    const until = next === undefined ? scale.right : clampedX(scale, next.fromMs);
    return until - from < textWidth(text, NOTE_PX) ? [] : [words("story-note", from, top + height - 2, text)];
  });
}

/** What the kernel said was left, reading by reading: it lies on the slope of the bar where both agree. */
export function drawTables(tables: readonly StoryTable[], { scale, top, height, mostMs }: TimerPlace): Shape[] {
  return tables.flatMap(({ node, port, group, readings, goneMs }): Shape[] => {
    const shown = readings.filter(([atMs, leftMs]) => leftMs !== null && isShown(scale, atMs, atMs));
    const [first] = shown;
    if (first === undefined) return [];
    const yOf = (leftMs: number | null): number =>
      round(top + height - (Math.min(leftMs ?? 0, mostMs) / mostMs) * height);
    const dots = shown.map(([atMs, leftMs]) => `M${round(xOf(scale, atMs) - 1.4)} ${yOf(leftMs)}h2.8`).join("");
    const until = goneMs === null ? "still there" : `gone at ${secondsOf(goneMs)}`;
    const title = `${group} in the group table of ${node}, port ${port}: ${shown.length} readings from ${secondsOf(first[0])} on, ${until}`;
    // It went between two looks: when its timer came to 0, or at the second of them where it was taken out before that.
    const [lastMs, leftMs] = readings.at(-1) ?? first;
    const endMs = goneMs === null ? null : Math.min(goneMs, leftMs === null ? goneMs : lastMs + leftMs);
    return [
      {
        tag: "g",
        attributes: { class: "story-measured" },
        title,
        children: [
          { tag: "path", attributes: { class: "story-readings", d: dots } },
          ...(endMs !== null && isShown(scale, endMs, endMs) ? [cross(xOf(scale, endMs), top + height)] : []),
        ],
      },
    ];
  });
}

const cross = (x: number, y: number): Shape => ({
  tag: "path",
  attributes: { class: "story-gone", d: `M${round(x - 3)} ${round(y - 3)}l6 6m0 -6l-6 6` },
});
