import type { StoryMark } from "@dyetrace/wire";
import { markWords } from "../story/mark-words.ts";
import { isShown, round, type Shape, type TimeScale, xOf } from "./picture-shape.ts";

/** Marks of one kind that stand closer than this are drawn as one. */
const APART_PX = 5;
/** Half the size of a mark. */
const R = 4.2;

/** Outlines around 0,0: who asks is angular, who answers is round; filled means about one group, or for good. */
const OUTLINES: Readonly<Record<StoryMark["kind"], string>> = {
  query: `M0 ${-R}L${R} 0L0 ${R}L${-R} 0Z`,
  "group-query": `M0 ${-R}L${R} 0L0 ${R}L${-R} 0Z`,
  report: circle(2.6),
  join: `${circle(R)}M-2.4 0h4.8M0 -2.4v4.8`,
  leave: `${circle(R)}M-2.4 0h4.8`,
  hello: `M${-R + 1} ${-R + 1}h${2 * R - 2}v${2 * R - 2}h${-2 * R + 2}Z`,
  "asks-join": "M-3 6L0 2.6L3 6",
  "asks-leave": "M-3 2.6L0 6L3 2.6",
};

function circle(r: number): string {
  return `M${-r} 0a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
}

/** A mark without its place, for the key. */
export const markShape = (kind: StoryMark["kind"], x: number, y: number): Shape => ({
  tag: "path",
  attributes: { class: `story-mark ${kind}`, d: OUTLINES[kind], transform: `translate(${round(x)} ${round(y)})` },
});

export interface DrawnMark {
  readonly mark: StoryMark;
  readonly x: number;
}

/** @returns marks as shapes, and those that stand for themselves alone, of which it can be drawn who heard them */
export function drawMarks(
  marks: readonly StoryMark[],
  scale: TimeScale,
  y: number,
): { readonly shapes: readonly Shape[]; readonly drawn: readonly DrawnMark[] } {
  const lastX = new Map<StoryMark["kind"], number>();
  const clusters: { readonly x: number; readonly marks: StoryMark[] }[] = [];
  const openOf = new Map<StoryMark["kind"], { readonly x: number; readonly marks: StoryMark[] }>();
  for (const mark of marks) {
    if (!isShown(scale, mark.atMs, mark.lastMs)) continue;
    const x = Math.max(scale.left, xOf(scale, mark.atMs));
    const open = openOf.get(mark.kind);
    if (open !== undefined && x - (lastX.get(mark.kind) ?? -1e9) < APART_PX) open.marks.push(mark);
    else {
      const fresh = { x, marks: [mark] };
      clusters.push(fresh);
      openOf.set(mark.kind, fresh);
      lastX.set(mark.kind, x);
    }
  }
  const shapes = clusters.map(({ x, marks: [first, ...more] }): Shape => {
    if (first === undefined) return { tag: "g", attributes: {} };
    const title = [first, ...more.slice(0, MOST_NAMED - 1)].map(said).join("\n");
    const rest = more.length >= MOST_NAMED ? `\nand ${more.length - MOST_NAMED + 1} more` : "";
    return { ...markShape(first.kind, x, y), title: `${title}${rest}` };
  });
  return { shapes, drawn: clusters.flatMap(({ x, marks: [mark] }) => (mark === undefined ? [] : [{ mark, x }])) };
}

const MOST_NAMED = 6;

const said = (mark: StoryMark): string => `${(mark.atMs / 1000).toFixed(3)} s: ${markWords(mark)}`;
