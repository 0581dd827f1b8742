import { planPlace, type SiteGraph } from "@dyetrace/site";
import { findingKindFacts, formatRatio, type ReportFinding, type ReportReceipt, type RunReport } from "@dyetrace/wire";
import { type Markup, markup } from "./markup.ts";
import { drawSiteMap, type MapMark } from "./site-map.ts";

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

/** The site as a tree, with the findings at their places and what each listener got. */
export function renderMap(report: RunReport, graph: SiteGraph): Markup {
  const marks = new Map<string, MapMark>();
  for (const [index, { suspects, title }] of report.findings.entries()) {
    for (const suspect of new Set(suspects.map(planPlace))) {
      const known = marks.get(suspect);
      marks.set(suspect, {
        findings: known === undefined ? String(index + 1) : `${known.findings}, ${index + 1}`,
        words: known === undefined ? title : `${known.words}; ${title}`,
      });
    }
  }
  const notes = new Map<string, string>();
  for (const node of graph.nodes.values()) {
    if (node.agent === null) continue;
    const own = report.receipts.filter((receipt) => receipt.listener === node.agent);
    const isSource = report.streams.some((stream) => stream.source === node.agent);
    if (isSource) notes.set(node.name, "source");
    else if (own.length > 0) notes.set(node.name, worstOf(own));
  }
  const source = report.streams[0]?.source;
  const root = [...graph.nodes.values()].find((node) => node.agent === source)?.name ?? [...graph.nodes.keys()][0];
  return root === undefined ? markup`` : drawSiteMap(graph, root, { marks, notes });
}

function worstOf(receipts: readonly ReportReceipt[]): string {
  const silent = receipts.filter((receipt) => receipt.received === 0).length;
  if (silent > 0) return silent === receipts.length ? "silent" : `${silent} of ${receipts.length} silent`;
  const ratios = receipts.flatMap((receipt) => receipt.lossRatio ?? []);
  if (ratios.length < receipts.length) return "loss unknown";
  const worst = Math.max(...ratios);
  return worst === 0 ? "no loss" : `${formatRatio(worst)} lost`;
}
