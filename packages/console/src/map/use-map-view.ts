import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import type { MapView } from "./map-view.ts";

/** A gesture is over when nothing has moved for so long; then the picture is drawn anew at its scale. */
const SETTLED_MS = 250;

/** Where the map lies, and how it is moved. */
export interface ViewControl {
  /** As it was drawn last; null: as it fits. */
  readonly moved: MapView | null;
  /** Draws it there. */
  readonly settle: (view: MapView | null) => void;
  /**
   * Moves what is drawn, and draws it anew once it stays.
   * @param drawn the view that it was drawn for  @param isHeld it is drawn anew only when it is let go
   */
  readonly move: (view: MapView, drawn: MapView, isHeld?: boolean) => void;
  /** Where it lies at this moment. */
  readonly now: (drawn: MapView) => MapView;
  readonly isMoving: { readonly current: boolean };
}

/**
 * While somebody drags or zooms, the browser only moves the finished picture: to draw a thousand hosts anew takes longer
 * than a frame.
 */
export function useMapView(frame: { readonly current: HTMLElement | null }): ViewControl {
  const [moved, setMoved] = useState<MapView | null>(null);
  const live = useRef<MapView | null>(null);
  const isMoving = useRef(false);
  const timer = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  useEffect(() => () => clearTimeout(timer.current), []);
  return useMemo(() => {
    const settle = (view: MapView | null): void => {
      clearTimeout(timer.current);
      live.current = null;
      isMoving.current = false;
      frame.current?.classList.remove("is-moving");
      setMoved(view);
    };
    return {
      moved,
      settle,
      isMoving,
      now: (drawn) => live.current ?? drawn,
      move: (view, drawn, isHeld = false) => {
        live.current = view;
        isMoving.current = true;
        frame.current?.classList.add("is-moving");
        const ground = frame.current?.querySelector<HTMLElement>(".map-ground");
        if (ground !== null && ground !== undefined) {
          ground.style.setProperty("--map-place", transformOf(view, drawn.scale));
        }
        clearTimeout(timer.current);
        if (!isHeld) timer.current = setTimeout(() => settle(view), SETTLED_MS);
      },
    };
  }, [moved, frame]);
}

/** Of a picture that was drawn at `drawnScale`. On whole pixels: letters between two of them are blurred. */
export const transformOf = ({ x, y, scale }: MapView, drawnScale: number): string =>
  `translate(${Math.round(x)}px, ${Math.round(y)}px) scale(${scale / drawnScale})`;
