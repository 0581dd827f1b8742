import { createHash } from "node:crypto";
import { loadSitePlan } from "@dyetrace/site";
import type { Night, ProbeRun, RunReport, RunStory } from "@dyetrace/wire";
import type { KeptHeaders } from "@dyetrace/wire/capture/kept-headers-schema";
import { csvOfGaps, csvOfIncidents, csvOfReceipts } from "../report/csv/csv-report.ts";
import { renderNightSection } from "../report/html-night.ts";
import { renderHtmlReport } from "../report/html-report.ts";
import { withProbes } from "../report/probe-parts.ts";
import { csvOfStory } from "../report/story/csv-story.ts";
import { renderStorySection } from "../report/story/html-story.ts";
import type { RunRecord } from "../store/run-record.ts";
import { captureFile } from "./capture-file.ts";

/** Everything that stands behind one run's findings. */
export interface EvidenceParts {
  readonly record: RunRecord;
  readonly report: RunReport;
  readonly probes: readonly ProbeRun[];
  /** Null where none is kept. */
  readonly story: RunStory | null;
  /** Null of a run that is too short for one. */
  readonly night: Night | null;
  /** Lines of the audit log about the run and its time, as they stand there. */
  readonly auditLines: readonly string[];
  /** Headers that agents kept; null where none are. */
  readonly headers: KeptHeaders | null;
}

/** Names and texts of the files of an evidence pack, in the order in which one reads them. */
export function evidenceFiles(parts: EvidenceParts): ReadonlyMap<string, string | Uint8Array> {
  const { record, report, probes, story, night: summary, auditLines, headers } = parts;
  const capture = headers === null ? null : captureFile(headers, report);
  const { site, scenario, ...request } = record.request;
  const sections = story === null ? [] : [renderStorySection(story, report)];
  const graph = loadSitePlan(site.text, site.file);
  const night = summary === null ? null : renderNightSection(summary);
  const files = new Map<string, string | Uint8Array>([
    ["report.html", renderHtmlReport({ report, record, graph, night, sections, probes })],
    ["report.json", json(withProbes(report, probes))],
    ["receipts.csv", csvOfReceipts(report)],
    ["gaps.csv", csvOfGaps(report)],
    ["incidents.csv", csvOfIncidents(report)],
    ...(summary === null ? [] : ([["night.json", json(summary)]] as const)),
    ["site-plan.yaml", site.text],
    ["scenario.yaml", scenario.text],
    ["request.json", json({ ...request, siteFile: site.file, scenarioFile: scenario.file })],
    ...(story === null
      ? []
      : ([
          ["story.csv", csvOfStory(story)],
          ["story.json", json(story)],
        ] as const)),
    ...(capture === null ? [] : ([[CAPTURE, capture.bytes]] as const)),
    ["audit.jsonl", auditLines.map((line) => `${line}\n`).join("")],
  ]);
  return new Map([["README.txt", sayContents(parts, [...files.keys()])], ...files]);
}

/** Who did what between these instants, or to that run. @param lines of an audit log */
export function auditLinesOf(lines: Iterable<string>, { runId, createdAt, endedAt }: RunRecord): readonly string[] {
  const fromMs = Date.parse(createdAt) - AROUND_MS;
  const toMs = (endedAt === null ? Number.POSITIVE_INFINITY : Date.parse(endedAt)) + AROUND_MS;
  const found: string[] = [];
  for (const line of lines) {
    const at = Date.parse(/"at":"([^"]{1,40})"/.exec(line)?.[1] ?? "");
    if ((at >= fromMs && at <= toMs) || line.includes(runId)) found.push(line);
    if (found.length > MOST_LINES) found.shift();
  }
  return found;
}

/** So long before and after a run, what was done may bear on it (common practice, no source). */
const AROUND_MS = 60_000;
/** The newest of them. */
const MOST_LINES = 10_000;

/** As `sha256sum -c` reads it: GNU coreutils, sha2 utilities. */
export const sumsOf = (files: ReadonlyMap<string, string | Uint8Array>): string =>
  [...files].map(([name, text]) => `${createHash("sha256").update(text).digest("hex")}  ${name}\n`).join("");

const CAPTURE = "capture.pcapng";

const json = (value: unknown): string => `${JSON.stringify(value, null, 2)}\n`;

const WHAT: Readonly<Record<string, string>> = {
  "report.html": "the report, to be read and printed",
  "report.json": "the same for programs; `dyetrace schema` says what stands in it",
  "receipts.csv": "a line for each stream and listener",
  "gaps.csv": "a line for each gap",
  "incidents.csv": "a line for each incident of a long run",
  "night.json": "what happened in a long run, for programs; `dyetrace schema night` says what stands in it",
  "site-plan.yaml": "the site plan of the run",
  "scenario.yaml": "what was sent, and what was expected",
  "request.json": "the scenario's parameters, and when the run was to start",
  "story.csv": "who asked, answered and left: a line for each message",
  "story.json": "the same for programs, with the data and the timers",
  [CAPTURE]:
    "headers that agents kept, an interface for each agent (draft-ietf-opsawg-pcapng); its comments say what is in it and how right its times are",
  "audit.jsonl": "who did what from a minute before the run to a minute after it, and to this run later",
};

const sayContents = ({ report }: EvidenceParts, names: readonly string[]): string =>
  [
    `Evidence of one run of ${report.scenario} at ${report.site}, ${report.startedAt} to ${report.endedAt}.`,
    `Run ${report.run}, verdict: ${report.verdict}.`,
    "",
    ...names.map((name) => `${name}: ${WHAT[name] ?? ""}`),
    "SHA256SUMS: sums of all these files; `sha256sum -c SHA256SUMS` checks them",
    "",
    names.includes(CAPTURE)
      ? "No payload stands in here but the head of test packets and twelve octets of what has the form of RTP; membership messages are whole."
      : "No packets stand in here: what agents measured, and what was concluded from it. A run with `--keep-headers` keeps headers.",
    "",
  ].join("\n");
