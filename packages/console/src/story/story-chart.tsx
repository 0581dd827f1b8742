import { drawStory, storyKey } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import { useMemo, useRef } from "preact/hooks";
import { useSize } from "../map/use-size.ts";
import { nameSome } from "../parts/format.ts";
import { moveWindow, type StoryWindow, zoomWindow } from "./story-window.ts";
import { SvgShapes } from "./svg-shapes.tsx";

interface StoryChartProps {
  readonly story: RunStory;
  readonly shown: StoryWindow;
  /** Null: all of it again. */
  readonly onShow: (shown: StoryWindow | null) => void;
}

const ZOOM_STEP = 1.6;
const MOVE_STEP = 0.25;

/** The story's picture, to be zoomed with buttons, keys and the wheel, and moved by dragging. */
export function StoryChart({ story, shown, onShow }: StoryChartProps) {
  const frame = useRef<HTMLElement>(null);
  const size = useSize(frame);
  const width = size?.width ?? null;
  const picture = useMemo(
    () => (width === null ? null : drawStory(story, { width, ...shown })),
    [story, width, shown.fromMs, shown.toMs],
  );
  const whole: StoryWindow = { fromMs: story.fromMs, toMs: story.toMs };
  const middleMs = (shown.fromMs + shown.toMs) / 2;
  const zoom = (by: number, atMs = middleMs): void => onShow(zoomWindow(shown, whole, by, atMs));
  const move = (share: number): void => onShow(moveWindow(shown, whole, share));
  const atMs = (clientX: number): number => {
    const box = frame.current?.getBoundingClientRect();
    if (box === undefined || picture === null) return middleMs;
    const share = (clientX - box.left - picture.left) / (picture.right - picture.left);
    return shown.fromMs + Math.min(1, Math.max(0, share)) * (shown.toMs - shown.fromMs);
  };
  const keys: Readonly<Record<string, () => void>> = {
    "+": () => zoom(ZOOM_STEP),
    "=": () => zoom(ZOOM_STEP),
    "-": () => zoom(1 / ZOOM_STEP),
    "0": () => onShow(null),
    Home: () => onShow(null),
    ArrowLeft: () => move(-MOVE_STEP),
    ArrowRight: () => move(MOVE_STEP),
  };
  const drag = (event: PointerEvent): void => {
    if (event.button !== 0 || picture === null || event.pointerType === "touch") return;
    const [startX, start] = [event.clientX, shown];
    const perPixel = (start.toMs - start.fromMs) / (picture.right - picture.left);
    const follow = (next: PointerEvent): void =>
      onShow(moveWindow(start, whole, ((startX - next.clientX) * perPixel) / (start.toMs - start.fromMs)));
    const end = (): void => {
      removeEventListener("pointermove", follow);
      removeEventListener("pointerup", end);
      removeEventListener("pointercancel", end);
    };
    addEventListener("pointermove", follow);
    addEventListener("pointerup", end);
    addEventListener("pointercancel", end);
  };
  return (
    <>
      <div class="story-tools">
        <button type="button" class="press small" aria-label="Zoom out" onClick={() => zoom(1 / ZOOM_STEP)}>
          −
        </button>
        <button type="button" class="press small" aria-label="Zoom in" onClick={() => zoom(ZOOM_STEP)}>
          +
        </button>
        <button type="button" class="press small" aria-label="Earlier" onClick={() => move(-MOVE_STEP)}>
          ‹
        </button>
        <button type="button" class="press small" aria-label="Later" onClick={() => move(MOVE_STEP)}>
          ›
        </button>
        <button type="button" class="press small" onClick={() => onShow(null)}>
          Whole time
        </button>
        <span class="small soft wheel-hint">the wheel zooms with Shift held; drag to move</span>
      </div>
      {/* biome-ignore-start lint/a11y/noNoninteractiveTabindex: the picture is zoomed and moved with the keyboard too */}
      {/* biome-ignore-start lint/a11y/noNoninteractiveElementInteractions: the same with wheel and pointer */}
      <section
        class="story-frame"
        ref={frame}
        tabIndex={0}
        aria-label="Picture of the story. Plus and minus zoom, arrow keys move, 0 shows all of it."
        onKeyDown={(event) => {
          const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : keys[event.key];
          if (act === undefined) return;
          event.preventDefault();
          act();
        }}
        onWheel={(event) => {
          // The page scrolls as ever where there is nothing to zoom into: with a key held it zooms.
          if (!event.ctrlKey && !event.shiftKey && !event.altKey) return;
          event.preventDefault();
          zoom(Math.exp(-(event.deltaY + event.deltaX) / 400), atMs(event.clientX));
        }}
        onPointerDown={drag}
      >
        {picture !== null && (
          <svg
            class="story-picture"
            width={picture.width}
            height={picture.height}
            viewBox={`0 0 ${picture.width} ${picture.height}`}
            role="img"
            aria-label={picture.label}
          >
            <SvgShapes shapes={picture.shapes} />
          </svg>
        )}
      </section>
      {/* biome-ignore-end lint/a11y/noNoninteractiveElementInteractions: see above */}
      {/* biome-ignore-end lint/a11y/noNoninteractiveTabindex: see above */}
      <StoryKey story={story} />
      {picture !== null && picture.unseen.length > 0 && (
        <p class="small soft">Nothing to draw of: {nameSome(picture.unseen)}.</p>
      )}
    </>
  );
}

function StoryKey({ story: { marks, tables, data } }: { readonly story: RunStory }) {
  const entries = storyKey({
    kinds: new Set(marks.map(({ kind }) => kind)),
    isMeasured: tables.length > 0,
    isUninvited: data.some(({ how }) => how === "seen"),
  });
  return (
    <ul class="story-key">
      {entries.map(({ shapes, words }) => (
        <li key={words}>
          <svg viewBox="0 0 34 16" aria-hidden="true">
            <SvgShapes shapes={shapes} />
          </svg>{" "}
          {words}
        </li>
      ))}
    </ul>
  );
}
