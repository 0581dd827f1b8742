import { planPlace, type SiteGraph } from "@dyetrace/site";
import {
  findingKindFacts,
  formatDurationNs,
  formatRateBps,
  formatRatio,
  type ReportFinding,
  type ReportReceipt,
  type RunReport,
} from "@dyetrace/wire";
import type { RunRecord } from "../store/run-records.ts";
import { HTML_STYLE } from "./html-style.ts";
import { Markup, markup } from "./markup.ts";
import { drawSiteMap, type MapMark } from "./site-map.ts";

export interface HtmlReportInput {
  readonly report: RunReport;
  readonly record: Pick<RunRecord, "request" | "programVersion">;
  readonly graph: SiteGraph;
  /** Further sections, such as a night's strip and incidents, that stand before the tables. */
  readonly sections?: readonly Markup[];
}

/** One file that needs no other: opened years later, without a network, it still shows and prints the whole report. */
export function renderHtmlReport({ report, record, graph, sections = [] }: HtmlReportInput): string {
  const seconds = (Date.parse(report.endedAt) - Date.parse(report.startedAt)) / 1000;
  const page = markup`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>${report.site}: ${report.scenario}, ${report.verdict}</title><style>${new Markup(HTML_STYLE)}</style></head><body>
<header><h1>${report.site}</h1>
<p><span class="verdict ${report.verdict}">${VERDICTS[report.verdict]}</span> ${report.reason}</p>
<p class="quiet">Scenario ${report.scenario}, ${asDate(report.startedAt)} to ${asDate(report.endedAt)} (${formatDurationNs(seconds * 1e9)}), run ${report.run}, dyetrace ${record.programVersion}</p></header>
${renderFindings(report.findings)}
<section><h2>Site</h2><div class="scroll">${renderMap(report, graph)}</div></section>
${sections}
${renderExpectations(report)}
${renderStreams(report)}
${renderReceipts(report)}
${renderBystanders(report)}
${renderQueriers(report)}
${renderSegments(report)}
${renderIncidents(report)}
${renderCautions(report)}
<section><h2>How this was measured</h2>${METHOD.map((sentence) => markup`<p>${sentence}</p>`)}</section>
<section><h2>Site plan</h2><pre>${record.request.site.text}</pre></section>
<section><h2>Scenario</h2><pre>${record.request.scenario.text}</pre>${renderParameters(record.request.parameters ?? {})}</section>
</body></html>
`;
  return page.text;
}

const VERDICTS = {
  pass: "Pass",
  fail: "Fail",
  inconclusive: "Inconclusive",
  "could-not-run": "Could not run",
} as const;

const METHOD = [
  "Each source numbers its packets from 0. A number that was sent while a listener was joined and that had not arrived when later ones had is lost (RFC 7680). Packets that the listening host itself dropped are counted apart and never as the network's loss.",
  "A gap is a run of consecutive missing numbers; its time runs from the last packet before it to the first one after it. Jitter is that of RFC 3550, join and leave delay those of RFC 2432.",
  "Beside a loss of 0 stands the most that it may be, at 95 %: nothing lost of n packets says no more than 3/n.",
  "A bystander has not joined and watches its network card for frames that should not arrive. An agent that can't watch is shown as such, never as clean.",
  "A finding names the smallest set of segments that the agents' places can tell apart. Where no count is given, it is not known.",
];

function renderFindings(findings: readonly ReportFinding[]): Markup {
  if (findings.length === 0) return markup`<section><h2>Findings</h2><p>None.</p></section>`;
  return markup`<section><h2>Findings</h2>${findings.map(
    ({ kind, title, suspects, confidence, streams, evidence, advice, reference }, index) => markup`
<article class="finding ${findingKindFacts(kind).effect}"><h3><span class="number">${index + 1}</span> <span class="kind" title="${findingKindFacts(kind).meaning}">${findingKindFacts(kind).label}</span> ${title}</h3><dl>
<dt>Suspects</dt><dd>${suspects.length === 0 ? "none can be named" : suspects.map((one) => markup`<code>${one}</code> `)}</dd>
<dt>Sureness</dt><dd>${Math.round(confidence * 100)} in 100</dd><dt>Streams</dt><dd>${streams.join(", ")}</dd>
<dt>Evidence</dt><dd>${evidence.map((sentence) => markup`<p>${sentence}</p>`)}</dd>
${advice === "" ? null : markup`<dt>Look at</dt><dd>${advice}</dd>`}${reference === "" ? null : markup`<dt>See</dt><dd>${reference}</dd>`}
</dl></article>`,
  )}</section>`;
}

function renderMap(report: RunReport, graph: SiteGraph): Markup {
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

function renderExpectations({ expectations }: RunReport): Markup | null {
  if (expectations.length === 0) return null;
  const words = (met: boolean | null): string => (met === null ? "not judged" : met ? "met" : "not met");
  return table(
    "Expectations",
    ["What", "At most", "Measured", "Verdict", ""],
    expectations.map(({ what, limit, measured, met, detail }) => [
      what,
      limit,
      measured ?? "unknown",
      words(met),
      detail,
    ]),
  );
}

function renderStreams({ streams }: RunReport): Markup {
  return table(
    "Streams",
    ["Stream", "Source", "Group", "Port", "Rate", "Payload", "TTL", "DSCP", "Sent", "Really sent", "Latest packet"],
    streams.map((stream) => [
      stream.name,
      stream.source,
      stream.group,
      stream.port,
      formatRateBps(stream.rateBps),
      `${stream.payloadBytes} B`,
      stream.ttl,
      stream.dscp,
      stream.sent,
      stream.sentRateBps === null ? null : formatRateBps(stream.sentRateBps),
      ms(stream.pacingMaxMs),
    ]),
  );
}

function renderReceipts(report: RunReport): Markup {
  const lengthMs = Date.parse(report.endedAt) - Date.parse(report.startedAt);
  return table(
    "Receipts",
    [
      "Stream",
      "Listener",
      "Sent",
      "Received",
      "Lost",
      "Loss",
      "In host",
      "Longest gap",
      "Jitter",
      "Join",
      "Leave",
      "Gaps",
    ],
    report.receipts.map((receipt) => [
      receipt.stream,
      receipt.listener,
      receipt.sent,
      receipt.received,
      receipt.lost,
      lossOf(receipt),
      receipt.hostLost,
      ms(receipt.longestGapMs),
      ms(receipt.jitterMs),
      ms(receipt.joinDelayMs),
      ms(receipt.leaveDelayMs),
      gapStrip(receipt, lengthMs),
    ]),
  );
}

/** Nothing lost of n says no more than "at most 3/n", at 95 % (the rule of three). */
function lossOf({ lossRatio, lost, sent }: ReportReceipt): string | null {
  if (lossRatio === null) return null;
  if (lost === 0 && sent !== null && sent > 0) return `0 (≤ ${formatRatio(Math.min(1, 3 / sent))})`;
  return formatRatio(lossRatio);
}

function gapStrip({ gaps, received }: ReportReceipt, lengthMs: number): Markup | null {
  if (received === null || lengthMs <= 0) return null;
  if (received === 0)
    return markup`<svg class="strip" viewBox="0 0 220 16"><title>silent</title><rect class="loss" x="0" y="5" width="220" height="6"/></svg>`;
  return markup`<svg class="strip" viewBox="0 0 220 16" preserveAspectRatio="none"><title>${gaps.length} gaps</title>${gaps.map(
    ({ startMs, durationMs, count }) =>
      startMs === null
        ? null
        : markup`<rect class="loss" x="${px((startMs / lengthMs) * 220)}" y="0" width="${px(Math.max(1, ((durationMs ?? 0) / lengthMs) * 220))}" height="16"><title>${count} packets</title></rect>`,
  )}</svg>`;
}

const px = (value: number): string => value.toFixed(1);

function renderBystanders({ bystanders }: RunReport): Markup | null {
  if (bystanders.length === 0) return null;
  return table(
    "Bystanders",
    ["Stream", "Agent", "Frames", "First", "Last"],
    bystanders.map(({ stream, agent, frames, firstMs, lastMs }) => [
      stream,
      agent,
      frames ?? "can't watch",
      ms(firstMs),
      ms(lastMs),
    ]),
  );
}

function renderQueriers({ queriers }: RunReport): Markup | null {
  if (queriers.length === 0) return null;
  return table(
    "Queriers heard",
    ["Address", "Version", "Queries", "Interval", "Heard by"],
    queriers.map(({ address, family, version, queries, intervalSeenMs, heardBy, isElected }) => [
      `${address}${isElected ? " (elected)" : ""}`,
      `${family === 4 ? "IGMP" : "MLD"}v${version}`,
      queries,
      ms(intervalSeenMs),
      heardBy.join(", "),
    ]),
  );
}

function renderSegments({ segments }: RunReport): Markup | null {
  if (segments.length === 0) return null;
  const told = segments.filter(({ status, lossRatio }) => !QUIET_STATES.has(status) || (lossRatio ?? 0) > 0);
  const count = (status: string): number => segments.filter((segment) => segment.status === status).length;
  const rest = markup`<p>Of ${segments.length} segments and nodes ${count("ok")} are ok, and of ${count("unknown")} this run can't tell.</p>`;
  if (told.length === 0) return markup`<section><h2>Segments</h2>${rest}</section>`;
  const rows = told.map(({ id, status, lossRatio, low, high }) => [
    id,
    status,
    lossRatio === null ? null : formatRatio(lossRatio),
    low === null || high === null ? null : `${formatRatio(low)} to ${formatRatio(high)}`,
  ]);
  return markup`${table("Segments", ["Segment", "Status", "Loss", "95 % interval"], rows)}${rest}`;
}

const QUIET_STATES: ReadonlySet<string> = new Set(["ok", "unknown"]);

function renderIncidents({ incidents, startedAt }: RunReport): Markup | null {
  if (incidents === undefined) return null;
  if (incidents.length === 0) return markup`<section><h2>Incidents</h2><p>None.</p></section>`;
  const clock = (atMs: number): string => new Date(Date.parse(startedAt) + atMs).toISOString().slice(11, 19);
  return table(
    "Incidents",
    ["From (UTC)", "To", "Kind", "What", "Suspects"],
    incidents.map(({ kind, fromMs, toMs, title, suspects }) => [
      clock(fromMs),
      clock(toMs),
      kind,
      title,
      suspects.join(", "),
    ]),
  );
}

function renderCautions({ notes, coverage }: RunReport): Markup {
  const sets = coverage.ambiguousSets.filter((set) => set.length > 1);
  return markup`<section><h2>Cautions</h2>${notes.map((note) => markup`<p>${note}</p>`)}${
    sets.length === 0
      ? null
      : markup`<p>These agents can't tell apart a fault in: ${sets.map((set) => set.join(" / ")).join("; ")}.${
          coverage.nextAgentAt === null ? "" : ` One more agent would help most at ${coverage.nextAgentAt}.`
        }</p>`
  }${notes.length + sets.length === 0 ? markup`<p>None.</p>` : null}</section>`;
}

function renderParameters(parameters: Readonly<Record<string, string>>): Markup | null {
  const given = Object.entries(parameters);
  return given.length === 0
    ? null
    : markup`<p>Set on the command line: ${given.map(([k, v]) => `${k}=${v}`).join(", ")}</p>`;
}

type Cell = string | number | Markup | null;

/** Unknown is shown as a dash, so that it can't be taken for 0. */
export function table(title: string, head: readonly string[], rows: readonly (readonly Cell[])[]): Markup {
  const align = head.map(
    (_, column) =>
      rows.length > 0 && rows.every((row) => typeof row[column] !== "string" && !(row[column] instanceof Markup)),
  );
  const className = (column: number): Markup | null => (align[column] === true ? markup` class="number"` : null);
  return markup`<section><h2>${title}</h2><div class="scroll"><table><thead><tr>${head.map((name, column) => markup`<th${className(column)}>${name}</th>`)}</tr></thead>
<tbody>${rows.map(
    (row) => markup`<tr>${row.map((cell, column) => markup`<td${className(column)}>${cell ?? "–"}</td>`)}</tr>
`,
  )}</tbody></table></div></section>`;
}

const ms = (value: number | null): string | null =>
  value === null ? null : value === 0 ? "0" : formatDurationNs(value * 1e6);

export const asDate = (iso: string): string => `${iso.slice(0, 10)} ${iso.slice(11, 19)} UTC`;
