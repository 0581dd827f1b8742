import { formatDurationNs } from "@dyetrace/wire";
import type { NightSummary } from "../soak/night-summary.ts";
import { type Markup, markup } from "./markup.ts";

const HEIGHTS: Readonly<Record<string, number>> = { "1": 5, "2": 9, "3": 13, "4": 18 };

/** A night as strips: the higher a cell, the more was lost; a hatched one was not measured. */
export function renderNightSection(night: NightSummary): Markup {
  return markup`<section><h2>The night</h2>
<p>Each cell is ${formatDurationNs(night.cellMs * 1e6)}; the higher the bar, the more was lost (under 0.01 %, 0.1 %, 1 %, more). An empty frame was not measured.</p>
<div class="scroll"><table><tbody>${night.strips.map(
    ({
      stream,
      listener,
      cells,
    }) => markup`<tr><td>${stream}</td><td>${listener}</td><td style="width:75%">${strip(cells)}</td></tr>
`,
  )}</tbody></table></div>
${night.patterns.map(({ sentence }) => markup`<p>${sentence}</p>`)}</section>`;
}

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
