import { COMPARISON_WORDS } from "@dyetrace/wire";
import type { BatteryComparison, BatteryVerdict } from "../../compare/battery-verdict.ts";
import type { Outcome } from "../../compare/comparison.ts";
import { HTML_STYLE } from "../html-style.ts";
import { table } from "../html-table.ts";
import { Markup, markup } from "../markup.ts";
import { dateAndTime } from "../time-of-day.ts";

export interface BatteryPage {
  readonly site: string;
  readonly name: string;
  readonly verdict: BatteryVerdict;
  readonly parts: readonly BatteryComparison[];
  /** ISO 8601. */
  readonly comparedAt: string;
}

/** One page that needs no other: the verdict, what changed and where, and every figure before and after. */
export function renderBatteryPage({ site, name, verdict, parts, comparedAt }: BatteryPage): string {
  const page = markup`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>${site}: before and after, ${COMPARISON_WORDS[verdict.outcome]}</title><style>${new Markup(HTML_STYLE)}</style></head><body>
<header><h1>${site}: before and after the change</h1>
<p><span class="verdict ${CLASSES[verdict.outcome]}">${capital(COMPARISON_WORDS[verdict.outcome])}</span> ${verdict.reason}</p>
<p class="quiet">Held against ${name} at ${dateAndTime(comparedAt)}</p></header>
${table(
  "Scenarios",
  ["scenario", "outcome", "why", "run", "against"],
  parts.map(({ scenario, comparison: { outcome, reason, run, against } }) => [
    scenario,
    COMPARISON_WORDS[outcome],
    reason,
    run,
    against,
  ]),
)}
${parts.map(renderPart)}
</body></html>
`;
  return page.text;
}

function renderPart({ scenario, comparison: { changes, comparisons, notes } }: BatteryComparison): Markup {
  return markup`<section><h2>${scenario}</h2>
${changes.map(
  ({
    what,
    stream,
    outcome,
    listeners,
    places,
    because,
  }) => markup`<div class="finding${outcome === "worse" ? "" : " informs"}"><h3>${capital(COMPARISON_WORDS[outcome])}: ${what}${stream === null ? "" : ` of ${stream}`}</h3>
<dl>${listeners.length === 0 ? null : markup`<dt>at</dt><dd>${listeners.join(", ")}</dd>`}<dt>suspects</dt><dd>${places.join(", ") || "none can be named"}</dd><dt>why</dt><dd>${because}</dd></dl></div>
`,
)}
${notes.map((note) => markup`<p class="quiet">${note}</p>`)}</section>
${table(
  `${scenario}, figures`,
  ["what", "stream", "at", "before", "after", "outcome", "why"],
  comparisons.map(({ what, stream, listener, places, before, after, outcome, because }) => [
    what,
    stream,
    listener ?? (places.join(", ") || "all listeners"),
    before,
    after,
    COMPARISON_WORDS[outcome],
    because,
  ]),
)}`;
}

const CLASSES: Readonly<Record<Outcome, string>> = {
  worse: "fail",
  better: "pass",
  same: "pass",
  "cant-tell": "inconclusive",
};

const capital = (word: string): string => `${word.charAt(0).toUpperCase()}${word.slice(1)}`;
