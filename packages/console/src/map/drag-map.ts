import { type MapView, zoomView } from "./map-view.ts";

/** Drag to move, wheel to zoom. */
export function dragging(
  view: MapView,
  setView: (view: MapView) => void,
  frame: { readonly current: HTMLElement | null },
) {
  let start: { readonly x: number; readonly y: number; readonly view: MapView } | null = null;
  return {
    onPointerDown: (event: PointerEvent) => {
      if (event.button !== 0 || !(event.target instanceof SVGSVGElement)) return;
      start = { x: event.clientX, y: event.clientY, view };
      const move = (next: PointerEvent): void => {
        if (start === null) return;
        setView({ ...start.view, x: start.view.x + next.clientX - start.x, y: start.view.y + next.clientY - start.y });
      };
      const end = (): void => {
        start = null;
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
      setView(
        zoomView(view, Math.exp(-event.deltaY / 400), { x: event.clientX - box.left, y: event.clientY - box.top }),
      );
    },
  };
}
