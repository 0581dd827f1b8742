/** A piece of an SVG picture, whoever renders it. Everything in it is text, to be escaped. */
export interface Shape {
  readonly tag: "g" | "rect" | "path" | "text" | "circle";
  readonly attributes: Readonly<Record<string, string | number>>;
  /** What a pointer that rests on it is told. */
  readonly title?: string;
  readonly text?: string;
  readonly children?: readonly Shape[];
}

/** A time of the run to a place across the picture. */
export interface TimeScale {
  readonly fromMs: number;
  readonly toMs: number;
  /** Where the time begins and ends, in pixels. */
  readonly left: number;
  readonly right: number;
}

export const xOf = ({ fromMs, toMs, left, right }: TimeScale, atMs: number): number =>
  round(left + ((atMs - fromMs) / Math.max(1e-9, toMs - fromMs)) * (right - left));

/** Within the picture, whatever lies outside of it. */
export const clampedX = (scale: TimeScale, atMs: number): number =>
  Math.min(scale.right, Math.max(scale.left, xOf(scale, atMs)));

export const isShown = ({ fromMs, toMs }: TimeScale, beginMs: number, endMs: number): boolean =>
  endMs >= fromMs && beginMs <= toMs;

/** To a tenth of a pixel: a picture of a long run stays small. */
export const round = (value: number): number => Math.round(value * 10) / 10;

/** About how wide a text is, so that none is written over another. */
export const textWidth = (text: string, sizePx: number): number => text.length * sizePx * 0.5;

export const words = (className: string, x: number, y: number, text: string, anchor?: "end" | "middle"): Shape => ({
  tag: "text",
  attributes: {
    class: className,
    x: round(x),
    y: round(y),
    ...(anchor === undefined ? {} : { "text-anchor": anchor }),
  },
  text,
});
