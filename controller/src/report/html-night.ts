import { formatDurationNs, formatRatio, type Night } from "@dyetrace/wire";
import { type Markup, markup } from "./markup.ts";
import { timeOfDay, zoneAt } from "./time-of-day.ts";
import { worstStrips } from "./worst-strips.ts";

const HEIGHTS: Readonly<Record<string, number>> = { "1": 5, "2": 9, "3": 13, "4": 18 };
const MOST_STRIPS = 24;

/** The morning's summary: what repeats, the worst incidents, and the night as strips: the higher a cell, the more was lost. */
export function renderNightSection(night: Night): Markup {
  const { received, lost, incidents, worst, patterns, strips, cellMs } = night;
  const shown = worstStrips(night, MOST_STRIPS);
  const share = received + lost === 0 ? "nothing was measured" : lostWords(lost, received + lost);
  return markup`<section><h2>The night</h2>
<p>${formatDurationNs(night.untilMs * 1e6)}${night.isOver ? "" : " so far"}: ${received} packets received, ${share}; ${incidents.length} incidents.</p>
${patterns.length === 0 ? null : markup`<h3>Patterns</h3>${patterns.map(({ sentence }) => markup`<p>${sentence}</p>`)}`}
${worst.length === 0 ? null : markup`<h3>Worst incidents</h3><p class="quiet">Times are in ${zoneAt(night.startedAt)}.</p>${worst.map((one) => markup`<p>${timeOfDay(night.startedAt, one.fromMs)}: ${one.title}</p>`)}`}
<h3>Strips</h3>
<p>Each cell is ${formatDurationNs(cellMs * 1e6)}; the higher the bar, the more was lost (under 0.01 %, 0.1 %, 1 %, more). An empty frame was not measured.</p>
<div class="scroll"><table><tbody>${shown.map(
    ({
      stream,
      listener,
      cells,
    }) => markup`<tr><td>${stream}</td><td>${listener}</td><td style="width:75%">${strip(cells)}</td></tr>
`,
  )}</tbody></table></div>${strips.length > shown.length ? markup`<p class="quiet">and ${strips.length - shown.length} more with less loss</p>` : null}</section>`;
}

const lostWords = (lost: number, sent: number): string =>
  lost === 0 ? "nothing lost" : `${lost} lost (${formatRatio(lost / sent)})`;

function strip(cells: string): Markup {
  const letters = [...cells];
  return markup`<svg class="strip night" viewBox="0 0 ${letters.length * 4} 18" preserveAspectRatio="none">${letters.map(
    (letter, index) => {
      if (letter === ".") return null;
      const height = HEIGHTS[letter] ?? 2;
      return markup`<rect class="${letter === "-" ? "whole" : "loss"}" x="${index * 4}" y="${18 - height}" width="4" height="${height}"/>`;
    },
  )}</svg>`;
}
