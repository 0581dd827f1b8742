import type { FindingGlyph } from "@dyetrace/wire";
import type { NodePlace, Polyline } from "../layout/delta-place.ts";
import { type Channel, isWet } from "../water/channel-water.ts";
import type { FindingMark } from "../water/finding-marks.ts";

/** How the dye lies in a channel. */
export type DyePicture =
  | "none"
  | "whole"
  /** Up to the mark. */
  | "dammed"
  /** A thread below the mark, or all along where it thinned further up. */
  | "thinning"
  | "thread"
  | "breaking"
  | "broken"
  | "beads";

type Bed = "" | "dry" | "unknown";

/** How one channel is drawn. */
export interface ChannelPicture {
  readonly bed: Bed;
  /** Of the node's own channel below it. */
  readonly headerBed: Bed;
  readonly dye: DyePicture;
  readonly glyph: FindingGlyph | null;
  /** It ends here, and nobody has concluded why. */
  readonly isDryFront: boolean;
  readonly isMoving: boolean;
}

/** The worst comes first where several findings mark one channel. */
const RANK: readonly FindingGlyph[] = ["stop", "thin", "seep", "fault", "doubt", "fact"];

/** @returns by name of the node at the lower end */
export function glyphsOf(marks: readonly FindingMark[]): ReadonlyMap<string, FindingGlyph> {
  const glyphs = new Map<string, FindingGlyph>();
  const worstLast = marks.toSorted((a, b) => RANK.indexOf(b.glyph) - RANK.indexOf(a.glyph));
  for (const { glyph, drawnOn } of worstLast) for (const name of drawnOn) glyphs.set(name, glyph);
  return glyphs;
}

/** @param isCarrying the stream is known to come this far on its way to a bar further down */
export function pictureChannel(
  channel: Channel | undefined,
  glyph: FindingGlyph | null,
  isCarrying: boolean,
): ChannelPicture {
  const water = isCarrying ? "flows" : (channel?.water ?? "closed");
  const bed = water === "dry" || water === "unknown" ? water : "";
  if (channel?.isWayUnknown === true) {
    return { bed: "unknown", headerBed: bed, dye: "none", glyph, isDryFront: false, isMoving: false };
  }
  const isFirst = channel?.isFirst === true;
  const isDryFront = water === "dry" && isFirst && glyph !== "stop";
  const dye = ((): DyePicture => {
    if (water === "dry") return glyph === "stop" || isFirst ? "dammed" : "none";
    if (water === "thins") return glyph === "thin" || glyph === "stop" ? "thinning" : "thread";
    if (water === "breaks") return glyph === "thin" || glyph === "stop" ? "breaking" : "broken";
    if (water === "seeps") return "beads";
    return water === "flows" ? "whole" : "none";
  })();
  return { bed, headerBed: bed, dye, glyph, isDryFront, isMoving: isWet(water) };
}

/**
 * The ways along a parent's own channel that beads run, each once however many outlets it leads to.
 * @param seeping places below one parent, through whose channel nothing else came
 */
export function beadedWays(seeping: readonly NodePlace[]): readonly Polyline[] {
  const longestFirst = seeping
    .map(({ approach }) => approach)
    .toSorted((a, b) => b.length - a.length || reachOf(b) - reachOf(a));
  const kept: Polyline[] = [];
  for (const line of longestFirst) if (!kept.some((other) => covers(other, line))) kept.push(line);
  return kept;
}

const reachOf = (line: Polyline): number => {
  const [from, to] = [line[0], line.at(-1)];
  return from === undefined || to === undefined ? 0 : Math.abs(to[0] - from[0]) + Math.abs(to[1] - from[1]);
};

/** Whether the end of `line` lies on `other`, which begins at the same node. */
function covers(other: Polyline, line: Polyline): boolean {
  const end = line.at(-1);
  if (end === undefined) return true;
  return other.some((point, index) => {
    const before = other[index - 1];
    return (
      before !== undefined &&
      Math.min(before[0], point[0]) <= end[0] &&
      end[0] <= Math.max(before[0], point[0]) &&
      Math.min(before[1], point[1]) <= end[1] &&
      end[1] <= Math.max(before[1], point[1])
    );
  });
}
