import type { Flow } from "@dyetrace/picture";
import { useEffect, useMemo, useRef } from "preact/hooks";
import type { LayoutBox, MapView } from "./map-view.ts";

/** Pixels of the layout that water runs in a second. */
const SPEED = 46;
const GLEAM = 6;
const BETWEEN = 20;
const SHARPEST = 2;
/** Gleams that are thinner on the screen are not seen. */
const THINNEST_PX = 0.6;
const GLEAM_SHARE = 0.42;
/** A map that is taller than the window has its canvas where it is in sight, this much more at both ends, in such steps. */
const MARGIN_PX = 256;

/** Gleams that run down every channel with water in it. Nothing else on the map moves. */
export function FlowCanvas(props: {
  readonly flows: readonly Flow[];
  readonly view: MapView;
  /** Nothing is drawn while the map is moved. */
  readonly isPaused: { readonly current: boolean };
}) {
  const { view, isPaused } = props;
  const flows = useMemo(
    () => props.flows.filter(({ width }) => width * GLEAM_SHARE * view.scale >= THINNEST_PX),
    [props.flows, view.scale],
  );
  const canvas = useRef<HTMLCanvasElement>(null);
  useEffect(() => {
    const element = canvas.current;
    const context = element?.getContext("2d");
    // Where no water moves there is no canvas to clear sixty times a second.
    if (element === null || context === null || context === undefined || flows.length === 0) return;
    const stillness = matchMedia("(prefers-reduced-motion: reduce)");
    const inks = getComputedStyle(element);
    const sharpness = Math.min(SHARPEST, devicePixelRatio);
    let frame = 0;
    let top = Number.NaN;
    let height = 0;
    let paths: ReadonlyMap<number, Path2D> = new Map();
    /** Puts the canvas where the map is in sight. @returns false: nowhere */
    const place = (): boolean => {
      const box = element.parentElement?.getBoundingClientRect();
      if (box === undefined || box.bottom < 0 || box.top > innerHeight) return false;
      const tall = Math.min(box.height, innerHeight + 2 * MARGIN_PX);
      const steps = Math.floor(-box.top / MARGIN_PX) * MARGIN_PX;
      const next = Math.max(0, Math.min(box.height - tall, steps));
      if (next === top && tall === height && element.width === Math.round(box.width * sharpness)) return true;
      top = next;
      height = tall;
      element.style.top = `${top}px`;
      element.style.height = `${height}px`;
      element.width = Math.round(box.width * sharpness);
      element.height = Math.round(height * sharpness);
      paths = pathsByWidth(flows, {
        x: -view.x / view.scale,
        y: (top - view.y) / view.scale,
        width: box.width / view.scale,
        height: height / view.scale,
      });
      return true;
    };
    const draw = (now: number): void => {
      frame = stillness.matches ? 0 : requestAnimationFrame(draw);
      if (isPaused.current || !place()) return;
      context.setTransform(1, 0, 0, 1, 0, 0);
      context.clearRect(0, 0, element.width, element.height);
      const scale = view.scale * sharpness;
      context.setTransform(scale, 0, 0, scale, view.x * sharpness, (view.y - top) * sharpness);
      context.strokeStyle = inks.getPropertyValue("--dye-gleam");
      context.lineCap = "butt"; // round ends cost a third more and are no larger than a pixel or two
      context.setLineDash([GLEAM, BETWEEN]);
      context.lineDashOffset = stillness.matches ? 0 : -((now / 1000) * SPEED) % (GLEAM + BETWEEN);
      for (const [lineWidth, path] of paths) {
        context.lineWidth = lineWidth * GLEAM_SHARE;
        context.stroke(path);
      }
    };
    const drawOnce = (): void => {
      if (stillness.matches && frame === 0) frame = requestAnimationFrame(draw);
    };
    frame = requestAnimationFrame(draw);
    addEventListener("scroll", drawOnce, { passive: true });
    return () => {
      cancelAnimationFrame(frame);
      removeEventListener("scroll", drawOnce);
    };
  }, [flows, view.x, view.y, view.scale, isPaused]);
  return flows.length === 0 ? null : <canvas ref={canvas} />;
}

/** Of the lines that touch `seen`. */
function pathsByWidth(flows: readonly Flow[], seen: LayoutBox): ReadonlyMap<number, Path2D> {
  const paths = new Map<number, Path2D>();
  for (const { line, width } of flows) {
    if (!touches(line, seen)) continue;
    const path = paths.get(width) ?? new Path2D();
    paths.set(width, path);
    for (const [index, [x, y]] of line.entries()) {
      if (index === 0) path.moveTo(x, y);
      else path.lineTo(x, y);
    }
  }
  return paths;
}

function touches(line: Flow["line"], seen: LayoutBox): boolean {
  const xs = line.map(([x]) => x);
  const ys = line.map(([, y]) => y);
  return (
    Math.max(...xs) >= seen.x &&
    Math.min(...xs) <= seen.x + seen.width &&
    Math.max(...ys) >= seen.y &&
    Math.min(...ys) <= seen.y + seen.height
  );
}
