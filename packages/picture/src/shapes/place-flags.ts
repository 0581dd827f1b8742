import type { DeltaLayout, NodePlace, Polyline } from "../layout/delta-place.ts";
import { spotAt } from "../layout/geometry.ts";
import { type Box, labelBox, NAME_AT, nameGrowth, type PlaceLabel } from "../layout/shown-names.ts";
import type { FindingMark } from "../water/finding-marks.ts";

export interface PlacedFlag {
  readonly mark: FindingMark;
  /** Upper left corner and size, in pixels of the layout. */
  readonly box: Box;
}

export const FLAG_HEIGHT = 22;
/** Between the middle of a channel or node and a flag beside it. */
const AWAY = 24;
const OUTSIDE_WEIGHT = 2;

/**
 * Finds each flag a place near its mark where it hides neither names nor channels; where there is none, the place that
 * hides least. Pure.
 * @param width of a flag in pixels of the screen, by its word
 * @param scale of the map: flags keep their size on the screen when it gets smaller
 * @param markAt where along its channel a mark stands
 */
export function placeFlags(
  marks: readonly FindingMark[],
  layout: DeltaLayout,
  options: {
    readonly scale: number;
    readonly width: (word: string) => number;
    /** What is written beside a place: how wide, in pixels of the screen, and in how many lines; null: nothing now. */
    readonly label: (place: NodePlace) => PlaceLabel | null;
    readonly markAt: (inlet: Polyline) => number;
  },
): readonly PlacedFlag[] {
  const grow = 1 / Math.min(1, options.scale);
  const nameGrow = nameGrowth(options.scale);
  const taken = [...layout.places.values()].flatMap((place) => boxesOf(place, options.label(place), nameGrow));
  const picture: Box = { x: 0, y: 0, width: layout.width, height: layout.height };
  const placed: PlacedFlag[] = [];
  for (const mark of marks) {
    const place = layout.places.get(mark.node);
    if (place === undefined) continue;
    const size = { width: options.width(mark.word) * grow, height: FLAG_HEIGHT * grow };
    const spot =
      mark.on === "channel" && place.inlet.length > 0
        ? spotAt(place.inlet, options.markAt(place.inlet))
        : { x: place.x, y: place.y };
    const nameEnd = (NAME_AT + (options.label(place)?.width ?? 0)) * nameGrow + 10;
    const besideName = place.label === "left" ? place.x - nameEnd - size.width : place.x + nameEnd;
    const beside: Box[] = [
      { ...size, x: spot.x - size.width / 2, y: spot.y - AWAY - size.height },
      { ...size, x: spot.x - size.width / 2, y: spot.y + AWAY },
      { ...size, x: spot.x + AWAY, y: spot.y - size.height / 2 },
      { ...size, x: spot.x - AWAY - size.width, y: spot.y - size.height / 2 },
      { ...size, x: besideName, y: place.y - size.height / 2 },
    ];
    // Moved into the picture where it is wide enough: what sticks out of a report's picture is cut off.
    const most = picture.width - size.width;
    const candidates = most < 0 ? beside : beside.map((box) => ({ ...box, x: Math.min(most, Math.max(0, box.x)) }));
    const all = [...taken, ...placed.map(({ box }) => box)];
    // What sticks out of the picture is cut off, which is worse than hiding something.
    const outside = (box: Box): number => OUTSIDE_WEIGHT * (size.width * size.height - overlap(box, picture));
    const hidden = (box: Box): number => all.reduce((sum, other) => sum + overlap(box, other), outside(box));
    const best = candidates.reduce((least, box) => (hidden(box) < hidden(least) ? box : least));
    placed.push({ mark, box: best });
  }
  return placed;
}

/** @param grow how much larger than in the layout it is written */
function boxesOf(place: NodePlace, written: PlaceLabel | null, grow: number): readonly Box[] {
  const { x, y, label } = place;
  const lines = (place.inlet.length === 0 ? [] : [place.inlet]).concat(place.header);
  return [
    { x: x - 15, y: y - 14, width: 30, height: 28 },
    ...(written === null ? [] : [labelBox({ x, y, label }, { ...written, width: written.width + 4 }, grow)]),
    ...lines.map(boxOfLine),
  ];
}

const HALF_CHANNEL = 8;

function boxOfLine(line: Polyline): Box {
  const xs = line.map(([x]) => x);
  const ys = line.map(([, y]) => y);
  const left = Math.min(...xs) - HALF_CHANNEL;
  const top = Math.min(...ys) - HALF_CHANNEL;
  return {
    x: left,
    y: top,
    width: Math.max(...xs) + HALF_CHANNEL - left,
    height: Math.max(...ys) + HALF_CHANNEL - top,
  };
}

/** Area that two boxes share. */
function overlap(a: Box, b: Box): number {
  const width = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x);
  const height = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y);
  return width > 0 && height > 0 ? width * height : 0;
}
