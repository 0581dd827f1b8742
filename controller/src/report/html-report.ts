import { passProof } from "@dyetrace/picture";
import type { SiteGraph } from "@dyetrace/site";
import {
  expectationWords,
  followsOthers,
  formatDurationNs,
  formatRatio,
  type ProbeRun,
  type RunReport,
  wifiWords,
} from "@dyetrace/wire";
import { methodOf } from "@dyetrace/wire/report/method-words";
import type { RunRecord } from "../store/run-record.ts";
import { htmlDelays } from "./delay-sections.ts";
import { renderDetails, renderDevices, renderFindings, renderHosts } from "./html-details.ts";
import { renderBystanders, renderReceipts, renderStreams } from "./html-receipts.ts";
import { HTML_STYLE } from "./html-style.ts";
import { table } from "./html-table.ts";
import { Markup, markup } from "./markup.ts";
import { htmlMedia } from "./media-sections.ts";
import { MAP_STYLE, renderRunMap } from "./picture.ts";
import { probeParts } from "./probe-parts.ts";
import { htmlQueriers } from "./querier-sections.ts";
import { dateAndTime, timeOfDay, zoneAt } from "./time-of-day.ts";

export interface HtmlReportInput {
  readonly report: RunReport;
  readonly record: Pick<RunRecord, "request" | "programVersion">;
  readonly graph: SiteGraph;
  /** Of a long run: what happened, which stands on top. */
  readonly night?: Markup | null;
  /** Further sections, that stand before the tables. */
  readonly sections?: readonly Markup[];
  /** Runs that were made to part this one's suspects. */
  readonly probes?: readonly ProbeRun[];
}

/** One file that needs no other: opened years later, without a network, it still shows and prints the whole report. */
export function renderHtmlReport({
  report,
  record,
  graph,
  night = null,
  sections = [],
  probes = [],
}: HtmlReportInput): string {
  const seconds = (Date.parse(report.endedAt) - Date.parse(report.startedAt)) / 1000;
  const page = markup`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>${report.site}: ${report.scenario}, ${report.verdict}</title><style>${new Markup(HTML_STYLE)}${new Markup(MAP_STYLE)}</style></head><body>
<header><h1>${report.site}</h1>
<p><span class="verdict ${report.verdict}">${VERDICTS[report.verdict]}</span> ${report.reason}</p>
<p class="quiet">Scenario ${report.scenario}, ${dateAndTime(report.startedAt)} to ${dateAndTime(report.endedAt)} (${formatDurationNs(seconds * 1e9)}), run ${report.run}, dyetrace ${record.programVersion}</p></header>
${night}
${renderFindings(report.findings)}
${probeParts(report, probes).map(({ heading, sentences }) => markup`<section><h2>${heading}</h2>${sentences.map((sentence) => markup`<p>${sentence}</p>`)}</section>`)}
${renderProof(report, graph)}
<section><h2>Site</h2><div class="scroll">${renderRunMap(graph, report)}</div></section>
${sections}
${renderExpectations(report)}
${renderStreams(report)}
${renderReceipts(report)}
${htmlDelays(report)}
${htmlMedia(report)}
${renderDetails(report)}
${renderBystanders(report)}
${htmlQueriers(report)}
${renderSegments(report)}
${renderIncidents(report)}
${renderAir(report)}
${renderHosts(report)}
${renderDevices(report)}
${renderCautions(report)}
<section><h2>How this was measured</h2>${methodOf(report).map((sentence) => markup`<p>${sentence}</p>`)}</section>
<section><h2>Site plan</h2><pre>${record.request.site.text}</pre></section>
<section><h2>Scenario</h2><pre>${record.request.scenario.text}</pre>${renderParameters(record.request.parameters ?? {})}</section>
</body></html>
`;
  return page.text;
}

/** Each station's way of delivery with what both ways cost, and who roamed. */
function renderAir({ wifi, roams }: RunReport): Markup | null {
  const sentences = wifiWords(wifi, roams);
  if (sentences.length === 0) return null;
  return markup`<section><h2>Over the air</h2>${sentences.map((sentence) => markup`<p>${sentence}</p>`)}</section>`;
}

/** What a run without a finding rests on. */
function renderProof(report: RunReport, graph: SiteGraph): Markup | null {
  if (report.findings.length > 0 || report.receipts.length === 0) return null;
  return markup`<section><h2>What this verdict rests on</h2>${passProof(report, graph).map((sentence) => markup`<p>${sentence}</p>`)}</section>`;
}

const VERDICTS = {
  pass: "Pass",
  fail: "Fail",
  inconclusive: "Inconclusive",
  "could-not-run": "Could not run",
} as const;

function renderExpectations({ expectations }: RunReport): Markup | null {
  if (expectations.length === 0) return null;
  return table(
    "Expectations",
    ["What", "At most", "Measured", "Verdict", ""],
    expectations.map((expectation) => [
      expectation.what,
      expectation.limit,
      expectation.measured ?? "unknown",
      expectationWords(expectation),
      expectation.detail,
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

function renderIncidents({ incidents, startedAt, streams }: RunReport): Markup | null {
  if (incidents === undefined) return null;
  if (incidents.length === 0 && followsOthers({ streams }))
    return markup`<section><h2>Incidents</h2><p>None was found. Streams were followed: what all listeners missed of one without sequence numbers may not show.</p></section>`;
  if (incidents.length === 0) return markup`<section><h2>Incidents</h2><p>None.</p></section>`;
  return table(
    "Incidents",
    [`From (${zoneAt(startedAt)})`, "To", "Kind", "What", "Suspects", "Confidence"],
    incidents.map(({ kind, fromMs, toMs, title, suspects, confidence }) => [
      timeOfDay(startedAt, fromMs),
      timeOfDay(startedAt, toMs),
      kind,
      title,
      suspects.join(", "),
      confidence === undefined ? "" : `${Math.round(confidence * 100)} %`,
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
