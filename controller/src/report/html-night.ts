import {
  formatCount,
  formatDurationNs,
  formatRatio,
  type Night,
  type NightIncident,
  type NightUnwatched,
} from "@dyetrace/wire";
import { Markup, markup } from "./markup.ts";
import { timeOfDay, zoneAt } from "./time-of-day.ts";

const HEIGHTS: Readonly<Record<string, number>> = { "-": 2, "1": 5, "2": 8, "3": 11, "4": 14, "5": 18 };
/** Units of a strip's picture, whatever its cells are, so that hatches keep their slope. */
const WIDTH = 800;
const HEIGHT = 18;
/** Marks further to the right stand left of their line, or the page's edge would cut them. */
const LAST_PART = 0.92;
/** What the cells of all strips are hatched with. */
const HATCH = markup`<svg class="night-patterns" aria-hidden="true"><defs><pattern id="partly" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect class="whole" width="7" height="7"/><rect class="partly" width="2.5" height="7"/></pattern></defs></svg>`;
const MOST_STRIPS = 24;
const MOST_MARKS = 9;

/** The morning's summary, on top of the page: one sentence, the worst first, the time as strips, what repeats, what is not known. */
export function renderNightSection(night: Night): Markup {
  const { headline, worst, patterns, listeners, strips, summarised, cellMs } = night;
  const zone = zoneAt(night.startedAt);
  return markup`<section><h2>What happened</h2>
<p><strong>${headline}</strong></p>
<p class="quiet">${countedWords(night)}. Times are in ${zone}.</p>
${worst.length === 0 ? null : markup`<h3>Worst first</h3><div class="scroll"><table class="worst"><thead><tr><th>From</th><th>To</th><th>Without a stream</th><th>What</th></tr></thead><tbody>${worst.map((one) => worstRow(night, one))}</tbody></table></div>`}
${
  listeners.length === 0 && night.followsOthers === true
    ? null
    : markup`<h3>Listeners</h3>
<p class="quiet">Each cell is ${formatDurationNs(cellMs * 1e6)}: the higher the bar, the more did not come (under 0.01 %, 0.1 %, 1 %, more, all). Hatched: all that was measured came, and a part was not measured. Empty: nothing was measured.</p>
${HATCH}
${stripTable(
  night,
  listeners.slice(0, MOST_STRIPS).map(({ listener, cells, withoutMs }) => ({ label: [listener], cells, withoutMs })),
)}`
}
${listeners.length > MOST_STRIPS ? markup`<p class="quiet">and ${listeners.length - MOST_STRIPS} more listeners, which were without a stream for a shorter time</p>` : null}
${
  strips.length <= listeners.length
    ? null
    : markup`<details><summary>Stream by stream</summary>${stripTable(
        night,
        worstStreams(strips).map(({ stream, listener, cells, withoutMs }) => ({
          label: [stream, listener],
          cells,
          withoutMs,
        })),
      )}</details>`
}
${list(
  "Patterns",
  patterns.map(({ sentence, p }) => `${sentence} (${chanceWords(p)})`),
)}
${list("Not watched", unwatchedWords(night))}
${list("Summed up", summarised)}</section>`;
}

/** Time without a stream; of an absence and such, during which nobody measured, only how long it was. */
export const harmWords = ({ withoutMs, fromMs, toMs }: NightIncident): string =>
  withoutMs === undefined
    ? `not known, within ${formatDurationNs((toMs - fromMs) * 1e6)}`
    : formatDurationNs(withoutMs * 1e6);

const worstRow = (night: Night, one: NightIncident): Markup =>
  markup`<tr><td>${timeOfDay(night.startedAt, one.fromMs)}</td><td>${timeOfDay(night.startedAt, one.toMs)}</td><td>${harmWords(one)}</td><td>${one.title}</td></tr>
`;

const worstStreams = (strips: Night["strips"]): Night["strips"] =>
  strips.toSorted((a, b) => b.withoutMs - a.withoutMs).slice(0, 2 * MOST_STRIPS);

const list = (heading: string, lines: readonly string[]): Markup | null =>
  lines.length === 0 ? null : markup`<h3>${heading}</h3>${lines.map((line) => markup`<p>${line}</p>`)}`;

/** What was counted in all; of streams of others it may not be known. */
export function countedWords({ received, lost, followsOthers }: Night): string {
  const came = received === null ? "How many packets came is not known" : `${formatCount(received)} packets received`;
  if (lost === null) return `${came}, how many were lost is not known`;
  if (followsOthers === true && lost === 0) return `${came}, none found lost on the way`;
  if (received === null) return `${came}, ${formatCount(lost)} lost on the way`;
  return `${came}, ${received + lost === 0 ? "nothing was measured" : lostWords(lost, received + lost)}`;
}

const lostWords = (lost: number, sent: number): string =>
  lost === 0 ? "nothing lost on the way" : `${formatCount(lost)} lost on the way (${formatRatio(lost / sent)})`;

interface Row {
  readonly label: readonly string[];
  readonly cells: string;
  readonly withoutMs: number;
}

function stripTable(night: Night, rows: readonly Row[]): Markup {
  return markup`<div class="scroll"><table class="strips"><tbody>${rows.map(
    ({ label, cells, withoutMs }) =>
      markup`<tr>${label.map((one) => markup`<td>${one}</td>`)}<td class="number">${withoutMs === 0 ? "" : formatDurationNs(withoutMs * 1e6)}</td><td class="wide">${strip(cells)}</td></tr>
`,
  )}<tr>${(rows[0]?.label ?? []).map(() => markup`<td></td>`)}<td></td><td class="wide">${axis(night, rows[0]?.cells.length ?? 0)}</td></tr></tbody></table></div>`;
}

function strip(cells: string): Markup {
  const letters = [...cells];
  const width = WIDTH / Math.max(1, letters.length);
  const at = (index: number): string => `x="${(index * width).toFixed(2)}" width="${width.toFixed(2)}"`;
  return markup`<svg class="strip night" viewBox="0 0 ${WIDTH} ${HEIGHT}" preserveAspectRatio="none">${letters.map(
    (letter, index) => {
      if (letter === ".") return null;
      if (letter === "?") return markup`<rect fill="url(#partly)" ${new Markup(at(index))} y="0" height="${HEIGHT}"/>`;
      const height = HEIGHTS[letter] ?? 2;
      return markup`<rect class="${letter === "-" ? "whole" : "loss"}" ${new Markup(at(index))} y="${HEIGHT - height}" height="${height}"/>`;
    },
  )}</svg>`;
}

/** Round times of day below the strips. */
function axis(night: Night, cells: number): Markup {
  const marks = axisMarks(night, MOST_MARKS).filter(({ cell }) => cell <= cells);
  return markup`<div class="axis">${marks.map(
    ({ cell, atMs }) =>
      markup`<span${cell > LAST_PART * cells ? markup` class="last"` : null} style="left:${((100 * cell) / Math.max(1, cells)).toFixed(2)}%">${timeOfDay(night.startedAt, atMs).slice(0, 5)}</span>`,
  )}</div>`;
}

/** What was not watched, a sentence for each reason: who, and for how long in all. */
export function unwatchedWords({ unwatched }: Night): readonly string[] {
  return (Object.keys(WHY) as NightUnwatched["why"][]).flatMap((why) => {
    const own = unwatched.filter((one) => one.why === why);
    const agents = [...new Set(own.map(({ agent }) => agent))];
    return agents.map((agent) => {
      const times = own.filter((one) => one.agent === agent);
      const lasted = formatDurationNs(times.reduce((sum, { fromMs, toMs }) => sum + (toMs - fromMs) * 1e6, 0));
      return `${agent}: ${WHY[why](lasted, times.length)}`;
    });
  });
}

const WHY: Readonly<Record<NightUnwatched["why"], (lasted: string, times: number) => string>> = {
  "never-there": () => "took no part",
  away: (lasted, times) => `did not measure for ${lasted}${times === 1 ? "" : ` in ${times} pieces`}`,
  "reports-dropped": (lasted, times) =>
    `could not keep what it measured, within ${lasted}${times === 1 ? "" : `, ${times} times`}`,
  "host-drops": () => "what its own host dropped is not known",
};

/** A mark of the time axis: at which cell, counted in parts of one, and what stands there. */
export interface AxisMark {
  readonly cell: number;
  readonly atMs: number;
}

const STEPS_MIN: readonly number[] = [1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440];

/** Round times of day along the strips, so many at most; zones of quarter hours are round too. */
export function axisMarks({ startedAt, untilMs, cellMs }: Night, most: number): readonly AxisMark[] {
  const stepMs = (STEPS_MIN.find((step) => untilMs / (step * 60e3) <= most) ?? 1440) * 60e3;
  const startMs = Date.parse(startedAt);
  const offsetMs = -new Date(startMs).getTimezoneOffset() * 60e3;
  const firstMs = Math.ceil((startMs + offsetMs) / stepMs) * stepMs - offsetMs - startMs;
  const marks: AxisMark[] = [];
  for (let atMs = firstMs; atMs < untilMs; atMs += stepMs) marks.push({ cell: atMs / cellMs, atMs });
  return marks;
}

/** How likely something is chance, for whoever reads it in the morning. @param p 0 to 1 */
export function chanceWords(p: number): string {
  if (p >= 0.01) return `by chance this is seen in ${Math.round(p * 100)} of 100 runs`;
  if (p < 1e-6) return "by chance this is seen in fewer than 1 of 1 000 000 runs";
  return `by chance this is seen in 1 of ${formatCount(Number((1 / p).toPrecision(2)))} runs`;
}
