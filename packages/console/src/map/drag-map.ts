import { type MapView, zoomView } from "./map-view.ts";
import type { ViewControl } from "./use-map-view.ts";

const isGroundOf = (target: EventTarget | null): boolean =>
  target instanceof HTMLElement && target.classList.contains("map-ground");

/** Drag to move, wheel to zoom. @param drawn the view that the map was drawn for */
export function dragging(control: ViewControl, drawn: MapView, frame: { readonly current: HTMLElement | null }) {
  let start: { readonly x: number; readonly y: number; readonly view: MapView } | null = null;
  return {
    onPointerDown: (event: PointerEvent) => {
      const isGround =
        event.target instanceof SVGSVGElement || event.target === frame.current || isGroundOf(event.target);
      if (event.button !== 0 || !isGround) return;
      start = { x: event.clientX, y: event.clientY, view: control.now(drawn) };
      const move = (next: PointerEvent): void => {
        if (start === null) return;
        const { view } = start;
        const moved = { ...view, x: view.x + next.clientX - start.x, y: view.y + next.clientY - start.y };
        control.move(moved, drawn, true);
      };
      const end = (): void => {
        start = null;
        if (control.isMoving.current) control.move(control.now(drawn), drawn);
        removeEventListener("pointermove", move);
        removeEventListener("pointerup", end);
        removeEventListener("pointercancel", end);
      };
      addEventListener("pointermove", move);
      addEventListener("pointerup", end);
      addEventListener("pointercancel", end);
    },
    onWheel: (event: WheelEvent) => {
      event.preventDefault();
      const box = frame.current?.getBoundingClientRect();
      if (box === undefined) return;
      const at = { x: event.clientX - box.left, y: event.clientY - box.top };
      control.move(zoomView(control.now(drawn), Math.exp(-event.deltaY / 400), at), drawn);
    },
  };
}
