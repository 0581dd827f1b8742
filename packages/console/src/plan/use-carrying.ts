import { useEffect, useRef, useState } from "preact/hooks";

/** Fewer pixels are a click with an unsteady hand. */
const LEAST_PX = 8;

/** A place that is being dragged, and the one below it where it would be dropped. */
export interface Carried {
  readonly node: string;
  readonly over: string | null;
  readonly x: number;
  readonly y: number;
}

const placeAt = (target: EventTarget | Element | null): string | null =>
  target instanceof Element ? (target.closest("[data-node]")?.getAttribute("data-node") ?? null) : null;

/** Drags a place of the map to another one with the mouse. A finger scrolls the page: on a phone the list beside does the same. */
export function useCarrying(onDrop: (node: string, to: string) => void): {
  readonly carried: Carried | null;
  readonly onPointerDown: (event: PointerEvent) => void;
} {
  const [carried, setCarried] = useState<Carried | null>(null);
  const drop = useRef(onDrop);
  drop.current = onDrop;
  const end = useRef<() => void>(() => {});
  useEffect(() => () => end.current(), []);
  const onPointerDown = (event: PointerEvent): void => {
    const node = placeAt(event.target);
    if (node === null || event.button !== 0 || event.pointerType === "touch") return;
    let now: Carried | null = null;
    const move = ({ clientX, clientY }: PointerEvent): void => {
      if (now === null && Math.hypot(clientX - event.clientX, clientY - event.clientY) < LEAST_PX) return;
      const over = placeAt(document.elementFromPoint(clientX, clientY));
      now = { node, over: over === node ? null : over, x: clientX, y: clientY };
      setCarried(now);
    };
    const stop = (): void => {
      removeEventListener("pointermove", move);
      removeEventListener("pointerup", letGo);
      removeEventListener("pointercancel", stop);
      removeEventListener("keydown", onKey);
      setCarried(null);
    };
    const letGo = (): void => {
      stop();
      if (now === null) return;
      // The press that ends here is no click on what lies below.
      const swallow = (click: Event): void => click.stopPropagation();
      addEventListener("click", swallow, { capture: true, once: true });
      setTimeout(() => removeEventListener("click", swallow, { capture: true }));
      if (now.over !== null) drop.current(now.node, now.over);
    };
    const onKey = ({ key }: KeyboardEvent): void => {
      if (key === "Escape") stop();
    };
    end.current = stop;
    addEventListener("pointermove", move);
    addEventListener("pointerup", letGo);
    addEventListener("pointercancel", stop);
    addEventListener("keydown", onKey);
  };
  return { carried, onPointerDown };
}
