import { findingKindFacts, type ReportFinding } from "@dyetrace/wire";
import { type Markup, markup } from "./markup.ts";

export function renderFindings(findings: readonly ReportFinding[]): Markup {
  if (findings.length === 0) return markup`<section><h2>Findings</h2><p>None.</p></section>`;
  return markup`<section><h2>Findings</h2>${findings.map(
    ({ kind, title, suspects, confidence, streams, evidence, advice, reference }, index) => markup`
<article class="finding ${findingKindFacts(kind).effect}"><h3><span class="number">${index + 1}</span> <span class="kind" title="${findingKindFacts(kind).meaning}">${findingKindFacts(kind).label}</span> ${title}</h3><dl>
<dt>Suspects</dt><dd>${suspects.length === 0 ? "none can be named" : suspects.map((one) => markup`<code>${one}</code> `)}</dd>
<dt>Confidence</dt><dd>${Math.round(confidence * 100)} %</dd><dt>Streams</dt><dd>${streams.join(", ")}</dd>
<dt>Evidence</dt><dd>${evidence.map((sentence) => markup`<p>${sentence}</p>`)}</dd>
${advice === "" ? null : markup`<dt>Look at</dt><dd>${advice}</dd>`}${reference === "" ? null : markup`<dt>See</dt><dd>${reference}</dd>`}
</dl></article>`,
  )}</section>`;
}
