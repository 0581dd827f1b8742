import { formatMs } from "@dyetrace/picture";
import type { Night } from "@dyetrace/wire";
import { useState } from "preact/hooks";
import { useFirst } from "../parts/use-first.tsx";
import { clockTicks } from "./clock-ticks.ts";
import { KEY, sayStrip } from "./night-words.ts";

const FEW = 24;
const MOST_TICKS = 8;
const HEIGHTS: Readonly<Record<string, number>> = { "-": 2, "?": 2, "1": 5, "2": 8, "3": 11, "4": 14, "5": 18 };

type StripRow = Pick<Night["listeners"][number], "listener" | "cells"> & { readonly stream: string | null };

/** The night from left to right, a row for each listener, or for each stream at it, above the clock on the wall. */
export function NightStrips({ night }: { readonly night: Night }) {
  const [isByStream, setByStream] = useState(false);
  const { startedAt, cellMs } = night;
  const rows: readonly StripRow[] = isByStream
    ? night.strips
    : night.listeners.map(({ listener, cells }) => ({ stream: null, listener, cells }));
  const { shown, more } = useFirst<StripRow>(rows, FEW);
  if (rows.length === 0) {
    return <p class="soft">No listener has reported what came and when, so that there is no picture of it.</p>;
  }
  // The last cell ends with the run, and may be the only one.
  const spanMs = Math.max(1, Math.min(night.untilMs, cellMs * Math.max(...rows.map(({ cells }) => cells.length))));
  const start = new Date(startedAt);
  const ticks = clockTicks(start.getTime(), spanMs, MOST_TICKS, -start.getTimezoneOffset() * 60_000);
  return (
    <section class="night-strips" aria-labelledby="night-strips">
      <h2 id="night-strips">What came, and when</h2>
      <p class="small soft">
        {spanMs <= cellMs ? "The whole time is one cell." : `Each cell is ${formatMs(cellMs)}.`}{" "}
        {isByStream ? "" : "The listener that was longest without a stream is first; a cell shows its worst stream."}
      </p>
      <ul class="night-key">
        {KEY.map(([letter, words]) => (
          <li key={letter}>
            <Strip cells={letter} spanCells={1} says={null} /> {words}
          </li>
        ))}
      </ul>
      {night.strips.length > night.listeners.length && (
        <label>
          <input type="checkbox" checked={isByStream} onChange={(event) => setByStream(event.currentTarget.checked)} />{" "}
          a row for each stream
        </label>
      )}
      <ul class="night-rows">
        {shown.map(({ stream, listener, cells }) => (
          <li key={`${stream} ${listener}`}>
            <span>
              {listener} {stream !== null && <span class="water">{stream}</span>}
            </span>
            <Strip
              cells={cells}
              spanCells={spanMs / cellMs}
              says={`${stream ?? "Streams"} at ${listener}: ${sayStrip({ cells })}`}
            />
          </li>
        ))}
      </ul>
      <div class="night-axis" aria-hidden="true">
        <span />
        <div>
          {ticks.map(({ atMs, label }) => (
            <span key={atMs} class={edgeOf(atMs / spanMs)} style={{ left: `${(atMs / spanMs) * 100}%` }}>
              {label}
            </span>
          ))}
        </div>
      </div>
      {more}
    </section>
  );
}

/** @param spanCells how many cells of time it is wide @param says null hides it from whoever does not see it: words stand beside it */
function Strip({
  cells,
  spanCells,
  says,
}: {
  readonly cells: string;
  readonly spanCells: number;
  readonly says: string | null;
}) {
  const letters = [...cells];
  const hearing = says === null ? ({ "aria-hidden": "true" } as const) : ({ role: "img", "aria-label": says } as const);
  return (
    // biome-ignore lint/a11y/noSvgWithoutTitle: it is named or hidden by one of the two above
    <svg class="night-strip" viewBox={`0 0 ${spanCells * 4} 18`} preserveAspectRatio="none" {...hearing}>
      {letters.map((letter, index) => (
        <Cell key={index} letter={letter} x={index * 4} />
      ))}
    </svg>
  );
}

function Cell({ letter, x }: { readonly letter: string; readonly x: number }) {
  const height = HEIGHTS[letter] ?? 2;
  return (
    <>
      {(letter === "." || letter === "?") && <rect class="unmeasured" x={x} y={0} width={4} height={18} />}
      {letter !== "." && (
        <rect
          class={letter === "-" || letter === "?" ? "whole" : "loss"}
          x={x}
          y={18 - height}
          width={4}
          height={height}
        />
      )}
    </>
  );
}

/** A time so near an end of the axis is written beside its place: centred on it, it would stick out of the page. */
const NEAR_EDGE = 0.12;
const edgeOf = (share: number): string | undefined =>
  share < NEAR_EDGE ? "at-start" : share > 1 - NEAR_EDGE ? "at-end" : undefined;
