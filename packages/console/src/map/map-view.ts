/** Where the map lies in its frame: layout coordinates times `scale`, moved by x and y. */
export interface MapView {
  readonly scale: number;
  readonly x: number;
  readonly y: number;
}

interface Extent {
  readonly width: number;
  readonly height: number;
}

const LARGEST_FIT = 1.35;
/** Names keep their size however small the map is, so that they need room of their own above it. */
const NAMES_ABOVE = 12;

/** The whole map in the middle of its frame, not blown up beyond what looks well. */
export function fitView(map: Extent, frame: Extent): MapView {
  const scale = Math.min(LARGEST_FIT, frame.width / map.width, (frame.height - NAMES_ABOVE) / map.height);
  return {
    scale,
    x: (frame.width - map.width * scale) / 2,
    y: Math.max(NAMES_ABOVE, (frame.height - map.height * scale) / 2),
  };
}

/** A part of the layout, in its pixels. */
export interface LayoutBox extends Extent {
  readonly x: number;
  readonly y: number;
}

/** @param box null: everything */
export const isIn = (box: LayoutBox | null, { x, y }: { readonly x: number; readonly y: number }): boolean =>
  box === null || (x >= box.x && x <= box.x + box.width && y >= box.y && y <= box.y + box.height);

/** What of the layout is in sight, and half as much more on every side. */
export function seenBox(view: MapView, frame: Extent): LayoutBox {
  const [width, height] = [frame.width / view.scale, frame.height / view.scale];
  return {
    x: -view.x / view.scale - width / 2,
    y: -view.y / view.scale - height / 2,
    width: 2 * width,
    height: 2 * height,
  };
}

/** A part of the map in the middle of its frame, no larger than what is easily read. */
export function fitBox(box: LayoutBox, frame: Extent): MapView {
  const scale = Math.max(SCALES.least, Math.min(LARGEST_FIT, frame.width / box.width, frame.height / box.height));
  return centreOn({ scale, x: 0, y: 0 }, { x: box.x + box.width / 2, y: box.y + box.height / 2 }, frame);
}

const SCALES = { least: 0.08, most: 3 };

/** @param at the point of the frame that stays where it is */
export function zoomView(view: MapView, factor: number, at: { readonly x: number; readonly y: number }): MapView {
  const scale = Math.min(SCALES.most, Math.max(SCALES.least, view.scale * factor));
  const ratio = scale / view.scale;
  return { scale, x: at.x - (at.x - view.x) * ratio, y: at.y - (at.y - view.y) * ratio };
}

/** Brings a point of the layout to the middle of the frame. */
export const centreOn = (view: MapView, point: { readonly x: number; readonly y: number }, frame: Extent): MapView => ({
  scale: view.scale,
  x: frame.width / 2 - point.x * view.scale,
  y: frame.height / 2 - point.y * view.scale,
});

/**
 * The point of the frame that stays where it is when a button zooms.
 * @param about what is selected or shown, in the layout; where that is out of sight, the middle stays
 */
export function pointToKeep(
  view: MapView,
  about: { readonly x: number; readonly y: number } | undefined,
  { width, height }: Extent,
): { readonly x: number; readonly y: number } {
  const x = (about?.x ?? Number.NaN) * view.scale + view.x;
  const y = (about?.y ?? Number.NaN) * view.scale + view.y;
  return x >= 0 && x <= width && y >= 0 && y <= height ? { x, y } : { x: width / 2, y: height / 2 };
}
