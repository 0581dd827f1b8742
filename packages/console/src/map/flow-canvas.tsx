import type { Flow } from "@dyetrace/picture";
import { useEffect, useRef } from "preact/hooks";
import type { MapView } from "./map-view.ts";

/** Pixels of the layout that water runs in a second. */
const SPEED = 46;
const GLEAM = 6;
const BETWEEN = 20;
const SHARPEST = 2;

/** Gleams that run down every channel with water in it. Nothing else on the map moves. */
export function FlowCanvas(props: {
  readonly flows: readonly Flow[];
  readonly view: MapView;
  /** Nothing is drawn while the map is moved. */
  readonly isPaused: { readonly current: boolean };
}) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const latest = useRef(props);
  latest.current = props;
  useEffect(() => {
    const element = canvas.current;
    const context = element?.getContext("2d");
    if (element === null || context === null || context === undefined) return;
    const stillness = matchMedia("(prefers-reduced-motion: reduce)");
    const inks = getComputedStyle(element);
    let frame = 0;
    let drawn: readonly Flow[] | null = null;
    let paths: ReadonlyMap<number, Path2D> = new Map();
    const draw = (now: number): void => {
      frame = stillness.matches ? 0 : requestAnimationFrame(draw);
      const { flows, view, isPaused } = latest.current;
      if (isPaused.current) return;
      if (flows !== drawn) {
        paths = pathsByWidth(flows);
        drawn = flows;
      }
      const sharpness = Math.min(SHARPEST, devicePixelRatio);
      const width = Math.round(element.clientWidth * sharpness);
      const height = Math.round(element.clientHeight * sharpness);
      if (element.width !== width || element.height !== height) {
        element.width = width;
        element.height = height;
      } else {
        context.setTransform(1, 0, 0, 1, 0, 0);
        context.clearRect(0, 0, width, height);
      }
      if (paths.size === 0) return;
      context.setTransform(
        view.scale * sharpness,
        0,
        0,
        view.scale * sharpness,
        view.x * sharpness,
        view.y * sharpness,
      );
      context.strokeStyle = inks.getPropertyValue("--dye-gleam");
      context.lineCap = "butt"; // round ends cost a third more and are no larger than a pixel or two
      context.setLineDash([GLEAM, BETWEEN]);
      context.lineDashOffset = stillness.matches ? 0 : -((now / 1000) * SPEED) % (GLEAM + BETWEEN);
      for (const [lineWidth, path] of paths) {
        context.lineWidth = lineWidth * 0.42;
        context.stroke(path);
      }
    };
    frame = requestAnimationFrame(draw);
    return () => cancelAnimationFrame(frame);
  }, [props.flows, props.view]);
  return <canvas ref={canvas} />;
}

function pathsByWidth(flows: readonly Flow[]): ReadonlyMap<number, Path2D> {
  const paths = new Map<number, Path2D>();
  for (const { line, width } of flows) {
    const path = paths.get(width) ?? new Path2D();
    paths.set(width, path);
    for (const [index, [x, y]] of line.entries()) {
      if (index === 0) path.moveTo(x, y);
      else path.lineTo(x, y);
    }
  }
  return paths;
}
