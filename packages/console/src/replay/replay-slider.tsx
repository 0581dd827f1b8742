import { worstMarks } from "@dyetrace/picture";
import type { RunReport } from "@dyetrace/wire";
import { useEffect, useState } from "preact/hooks";
import { formatClock } from "../parts/format.ts";
import type { Replay } from "./use-replay.ts";

interface ReplaySliderProps {
  readonly replay: Replay;
  readonly stream: string;
  /** Null: the run goes on, and the slider's right end is now. */
  readonly report: RunReport | null;
}

/** Between two pieces while it plays. */
const STEP_MS = 500;

/** One slider under the map with the time of day: its right end is the whole run, or of one that goes on the present. The map is of where it stands. */
export function ReplaySlider({ replay, stream, report }: ReplaySliderProps) {
  const { told, cell, setCell } = replay;
  const [isPlaying, setPlaying] = useState(false);
  const cells = told?.cells ?? 0;
  useEffect(() => {
    if (!isPlaying || cells === 0) return;
    const timer = setInterval(() => {
      const next = (cell ?? -1) + 1;
      if (next >= cells) {
        setPlaying(false);
        setCell(null);
      } else setCell(next);
    }, STEP_MS);
    return () => clearInterval(timer);
  }, [isPlaying, cell, cells]);
  if (told === null || cells === 0) return null;
  const isLive = report === null;
  const startMs = Date.parse(told.startedAt);
  const clock = (ms: number): string => formatClock(new Date(startMs + ms));
  const says =
    cell === null
      ? isLive
        ? "now"
        : `the whole run, ${clock(0)} to ${clock(cells * told.cellMs)}`
      : `${clock(cell * told.cellMs)} to ${clock((cell + 1) * told.cellMs)}`;
  const at = (ms: number): string => `${Math.min(100, Math.max(0, (ms / (cells * told.cellMs)) * 100))}%`;
  const incidents = (report?.incidents ?? []).filter(({ streams }) => streams.length === 0 || streams.includes(stream));
  const step = (by: number): void => {
    setPlaying(false);
    const next = (cell ?? cells) + by;
    setCell(next >= cells ? null : Math.max(0, next));
  };
  return (
    <div class="replay">
      <div class="replay-controls">
        <button type="button" class="press small" onClick={() => setPlaying(!isPlaying)}>
          {isPlaying ? "Pause" : "Play"}
        </button>
        <button type="button" class="press small" aria-label="One step back" onClick={() => step(-1)}>
          ‹
        </button>
        <button type="button" class="press small" aria-label="One step on" onClick={() => step(1)}>
          ›
        </button>
        <output class="small">{says}</output>
        {isLive && cell !== null && (
          <button type="button" class="press small" onClick={() => step(cells)}>
            Back to now
          </button>
        )}
      </div>
      <div class="replay-track">
        <div class="replay-marks" aria-hidden="true">
          {spansOf(worstMarks(told, stream)).map(({ from, to, mark }) => (
            <span
              key={from}
              class={`worst ${CLASS_OF[mark] ?? "calm"}`}
              style={{ left: `${(from / cells) * 100}%`, width: `${((to - from) / cells) * 100}%` }}
            />
          ))}
          {incidents.map(({ fromMs, toMs, title }, index) => (
            <span
              key={`${index} ${fromMs}`}
              class="incident"
              title={title}
              style={{ left: at(fromMs), width: `max(4px, calc(${at(toMs)} - ${at(fromMs)}))` }}
            />
          ))}
        </div>
        <input
          type="range"
          min={0}
          max={cells}
          step={1}
          value={cell ?? cells}
          aria-label="Time of the run"
          aria-valuetext={says}
          onInput={(event) => {
            setPlaying(false);
            const value = Number(event.currentTarget.value);
            setCell(value >= cells ? null : value);
          }}
        />
        <div class="replay-ends small soft" aria-hidden="true">
          <span>{clock(0)}</span>
          <span>{isLive ? "now" : `${clock(cells * told.cellMs)}, whole run`}</span>
        </div>
      </div>
    </div>
  );
}

/** By the worst mark of a piece of time. */
const CLASS_OF: Readonly<Record<string, string>> = {
  "-": "stopped",
  b: "stopped",
  "4": "thin",
  "3": "thin",
  "2": "thin",
  "1": "thin",
  s: "leaked",
  ".": "idle",
  " ": "untold",
};

/** Neighbours that are alike as one. */
function spansOf(marks: string): readonly { readonly from: number; readonly to: number; readonly mark: string }[] {
  const spans: { from: number; to: number; mark: string }[] = [];
  for (const [index, mark] of [...marks].entries()) {
    const last = spans.at(-1);
    if (last !== undefined && last.mark === mark) last.to = index + 1;
    else spans.push({ from: index, to: index + 1, mark });
  }
  return spans;
}
