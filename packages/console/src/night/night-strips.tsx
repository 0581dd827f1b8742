import { useState } from "preact/hooks";
import { formatMs } from "../parts/format.ts";
import { clockTicks } from "./clock-ticks.ts";
import type { NightAnswer, NightStrip } from "./night-answer.ts";
import { KEY, sayStrip, worstFirst } from "./night-words.ts";

const FEW = 24;
const MOST_TICKS = 8;
const HEIGHTS: Readonly<Record<string, number>> = { "-": 2, "1": 6, "2": 10, "3": 14, "4": 18 };

/** The night from left to right, a row for each stream and listener, above the clock on the wall. */
export function NightStrips({ night }: { readonly night: NightAnswer }) {
  const [isWhole, setWhole] = useState(false);
  const { strips, startedAt, cellMs } = night;
  if (strips.length === 0) return null;
  const sorted = worstFirst(strips);
  const shown = isWhole ? sorted : sorted.slice(0, FEW);
  const spanMs = cellMs * Math.max(1, ...strips.map(({ cells }) => cells.length));
  const start = new Date(startedAt);
  const ticks = clockTicks(start.getTime(), spanMs, MOST_TICKS, -start.getTimezoneOffset() * 60_000);
  return (
    <section class="night-strips" aria-labelledby="night-strips">
      <h2 id="night-strips">What each listener lost</h2>
      <p class="small soft">Each cell is {formatMs(cellMs)}. The most loss is first.</p>
      <ul class="night-key">
        {KEY.map(([letter, words]) => (
          <li key={letter}>
            <Strip strip={{ stream: "", listener: "", cells: letter }} isHidden={true} /> {words}
          </li>
        ))}
      </ul>
      <ul class="night-rows">
        {shown.map((strip) => (
          <li key={`${strip.stream} ${strip.listener}`}>
            <span>
              {strip.listener} <span class="water">{strip.stream}</span>
            </span>
            <Strip strip={strip} isHidden={false} />
          </li>
        ))}
      </ul>
      <div class="night-axis" aria-hidden="true">
        <span />
        <div>
          {ticks.map(({ atMs, label }) => (
            <span key={atMs} style={{ left: `${(atMs / spanMs) * 100}%` }}>
              {label}
            </span>
          ))}
        </div>
      </div>
      {sorted.length > shown.length && (
        <button type="button" class="press small" onClick={() => setWhole(true)}>
          and {sorted.length - shown.length} more
        </button>
      )}
    </section>
  );
}

function Strip({ strip, isHidden }: { readonly strip: NightStrip; readonly isHidden: boolean }) {
  const cells = [...strip.cells];
  const hearing = isHidden
    ? ({ "aria-hidden": "true" } as const)
    : ({ role: "img", "aria-label": `${strip.stream} at ${strip.listener}: ${sayStrip(strip)}` } as const);
  return (
    // biome-ignore lint/a11y/noSvgWithoutTitle: it is named or hidden by one of the two above
    <svg class="night-strip" viewBox={`0 0 ${cells.length * 4} 18`} preserveAspectRatio="none" {...hearing}>
      {cells.map((letter, index) =>
        letter === "." ? (
          <rect key={index} class="unmeasured" x={index * 4} y={0} width={4} height={18} />
        ) : (
          <rect
            key={index}
            class={letter === "-" ? "whole" : "loss"}
            x={index * 4}
            y={18 - (HEIGHTS[letter] ?? 2)}
            width={4}
            height={HEIGHTS[letter] ?? 2}
          />
        ),
      )}
    </svg>
  );
}
