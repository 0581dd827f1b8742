import { nodeOfSource, planPlace, type SiteGraph } from "@dyetrace/site";
import {
  type FindingEffect,
  findingKindFacts,
  formatCount,
  formatDurationNs,
  formatRateBps,
  formatRatio,
  knownRateBps,
  movedCounters,
  type ProbeRun,
  partialWords,
  type ReportExpectation,
  type ReportFinding,
  type ReportReceipt,
  type ReportStream,
  type RunReport,
  wifiWords,
} from "@dyetrace/wire";
import { terminalDelays } from "./delay-sections.ts";
import { deviceLines } from "./devices/device-rows.ts";
import { terminalMedia } from "./media-sections.ts";
import { probeParts } from "./probe-parts.ts";
import { terminalQueriers } from "./querier-sections.ts";
import { drawSiteTree } from "./site-tree.ts";
import { renderIncidents } from "./terminal-night.ts";
import { type Paint, type Tone, wrap } from "./terminal-paint.ts";

/** Streams drawn as trees; with more, only those with a finding, then the first. */
const MOST_TREES = 4;

/** A report for people at a terminal: the verdict, each finding, and the site with what happened where. */
export function renderReport(
  report: RunReport,
  graph: SiteGraph,
  paint: Paint,
  probes: readonly ProbeRun[] = [],
): string {
  const lines: string[] = [];
  const seconds = (Date.parse(report.endedAt) - Date.parse(report.startedAt)) / 1000;
  lines.push(
    "",
    `${paint(report.site, "strong")} · ${report.scenario} · ${verdictWord(report, paint)} after ${seconds.toFixed(1)} s`,
    ...(isSaidBelow(report) ? [] : wrap(report.reason, "  ")),
  );
  for (const finding of report.findings) lines.push("", ...renderFinding(finding, paint));
  for (const part of probeParts(report, probes)) {
    lines.push("", paint(part.heading, "strong"), ...part.sentences.flatMap((sentence) => wrap(sentence, "  ")));
  }
  for (const stream of streamsToDraw(report)) lines.push("", ...renderStream(report, stream, graph, paint));
  lines.push(
    ...renderExpectations(report, paint),
    ...terminalDelays(report, paint),
    ...terminalMedia(report, paint),
    ...renderIncidents(report, paint),
    ...renderHosts(report, paint),
  );
  const read = deviceLines(report);
  if (read.length > 0)
    lines.push("", paint("Switches and routers", "strong"), ...read.flatMap((one) => wrap(one, "  ")));
  lines.push(...terminalQueriers(report, paint));
  const air = wifiWords(report.wifi, report.roams);
  if (air.length > 0) lines.push("", paint("Over the air", "strong"), ...sayFew(air).flatMap((one) => wrap(one, "  ")));
  if (report.notes.length > 0) {
    lines.push("", paint("Notes", "strong"), ...report.notes.flatMap((note) => wrap(note, "  ")));
  }
  lines.push("", paint(`run ${report.run}`, "quiet"), "");
  return lines.join("\n");
}

/** The reason of a failed run is mostly its first finding, which follows anyway. */
const isSaidBelow = ({ reason, findings }: RunReport): boolean =>
  findings.length === 1 && reason === `${findings[0]?.title}.`;

/** The limits that were broken, those that the packets could not decide, and in one line those that nobody could judge. */
function renderExpectations({ expectations }: RunReport, paint: Paint): string[] {
  const broken = expectations.filter((expectation) => expectation.met === false);
  const open = expectations.filter(({ met, applies }) => met === null && applies !== false);
  const undecided = open.filter((expectation) => expectation.undecided !== undefined);
  const unknown = open.filter((expectation) => expectation.undecided === undefined);
  if (broken.length + open.length === 0) return [];
  const line = (words: string, { what, limit, measured, detail }: ReportExpectation): string[] =>
    wrap(
      `${limit === "none" ? `no ${what}` : `${what} at most ${limit}`}: ${words}, ${measured ?? "not measured"}. ${detail}`,
      "  ",
    );
  return [
    "",
    paint("Expected", "strong"),
    ...broken.flatMap((one) => line(paint("not met", "bad"), one)),
    ...undecided.flatMap((one) => line(paint("undecided", "doubt"), one)),
    ...(unknown.length === 0
      ? []
      : wrap(`${paint("not judged", "doubt")}, as nobody could measure it: ${listOf(unknown)}`, "  ")),
  ];
}

const listOf = (expectations: readonly ReportExpectation[]): string => expectations.map(({ what }) => what).join(", ");

/** Sentences about the air; the page has the rest. */
const MOST_AIR = 12;

const sayFew = (sentences: readonly string[]): readonly string[] =>
  sentences.length <= MOST_AIR
    ? sentences
    : [...sentences.slice(0, MOST_AIR), `and ${sentences.length - MOST_AIR} more, which the page has`];

/** Hosts that are listed; the page has the rest. */
const MOST_HOSTS = 10;

/** Where the host itself dropped packets or met with errors. */
function renderHosts({ hosts = [] }: RunReport, paint: Paint): string[] {
  const told = hosts.flatMap((host) => {
    const moved = movedCounters(host);
    return moved.length === 0
      ? []
      : [`${host.agent}: ${moved.map(([words, count]) => `${words} ${count}`).join(", ")}`];
  });
  if (told.length === 0) return [];
  const rest = told.length - MOST_HOSTS;
  return [
    "",
    paint("Hosts counted, whoever's traffic it was", "strong"),
    ...told.slice(0, MOST_HOSTS).flatMap((line) => wrap(line, "  ")),
    ...(rest > 0 ? [paint(`  and ${rest} more`, "quiet")] : []),
  ];
}

function verdictWord(report: RunReport, paint: Paint): string {
  switch (report.verdict) {
    case "pass":
      return paint("pass", "good");
    case "fail":
      return paint("fail", "bad");
    case "inconclusive":
      return paint("inconclusive", "doubt");
    case "could-not-run":
      return paint("could not run", "doubt");
  }
}

const TONES: Readonly<Record<FindingEffect, Tone>> = {
  fails: "bad",
  "blames-host": "doubt",
  undecided: "doubt",
  informs: "quiet",
};

function renderFinding(finding: ReportFinding, paint: Paint): string[] {
  const { label, effect } = findingKindFacts(finding.kind);
  const part = (label: string, text: string): string[] => wrap(text, `    ${label.padEnd(11)}`, " ".repeat(15));
  return [
    `  ${paint(label.toUpperCase(), TONES[effect])}  ${paint(finding.title, "strong")}`,
    ...part("suspects", finding.suspects.length === 0 ? "none can be named" : finding.suspects.join(", ")),
    ...part("confidence", `${Math.round(finding.confidence * 100)} %`),
    ...finding.evidence.flatMap((sentence, index) => part(index === 0 ? "evidence" : "", sentence)),
    ...(finding.advice === "" ? [] : part("next", finding.advice)),
    ...(finding.reference === "" ? [] : part("see", finding.reference)),
  ];
}

function streamsToDraw(report: RunReport): readonly ReportStream[] {
  const named = new Set(report.findings.flatMap((finding) => finding.streams));
  const first = report.streams.filter((stream) => named.has(stream.name));
  return (first.length > 0 ? first : report.streams).slice(0, MOST_TREES);
}

function renderStream(report: RunReport, stream: ReportStream, graph: SiteGraph, paint: Paint): string[] {
  const sent = stream.sent === null ? "packets sent: unknown" : `${formatCount(stream.sent)} packets sent`;
  const rateBps = knownRateBps(stream);
  const rate = rateBps === null ? "rate unknown" : formatRateBps(rateBps);
  const head = `${stream.name} from ${stream.source} to ${stream.group} port ${stream.port}, ${rate}, ${sent}`;
  const root = nodeOfSource(graph, stream.source);
  if (root === null) return [head];
  /** By the place that the tree shows: what is found, and the suspect's full name. */
  const suspects = new Map<string, { readonly label: string; readonly tone: Tone; readonly suspect: string }>();
  for (const finding of report.findings) {
    if (!finding.streams.includes(stream.name)) continue;
    const { label, effect } = findingKindFacts(finding.kind);
    for (const suspect of finding.suspects) {
      const place = planPlace(suspect);
      if (!suspects.has(place)) suspects.set(place, { label, tone: TONES[effect], suspect });
    }
  }
  const rows = drawSiteTree(graph, root).map(({ node, segment, branches }) => {
    const agent = graph.nodes.get(node)?.agent ?? null;
    const marks: string[] = [];
    const onLink = segment === null ? undefined : suspects.get(segment.id);
    const onNode = suspects.get(node);
    if (onLink !== undefined) marks.push(paint(`◂ ${onLink.label} on ${onLink.suspect}`, onLink.tone));
    if (onNode !== undefined) marks.push(paint(`◂ ${onNode.label} here`, onNode.tone));
    return {
      name: `${branches}${node}`,
      says: agent === null ? "" : agentSays(report, stream, agent, paint),
      marks,
    };
  });
  const width = Math.max(...rows.map((row) => row.name.length)) + 2;
  return [
    paint(head, "strong"),
    ...rows.map(({ name, says, marks }) =>
      `  ${name.padEnd(width)}${[says, ...marks].filter((x) => x !== "").join("  ")}`.trimEnd(),
    ),
  ];
}

function agentSays(report: RunReport, stream: ReportStream, agent: string, paint: Paint): string {
  if (agent === stream.source) return paint("source", "quiet");
  const receipt = report.receipts.find((one) => one.stream === stream.name && one.listener === agent);
  if (receipt !== undefined) return receiptSays(receipt, paint);
  const bystander = report.bystanders.find((one) => one.stream === stream.name && one.agent === agent);
  if (bystander === undefined) return "";
  if (bystander.frames === null) return paint("not joined, can't watch", "quiet");
  return bystander.frames === 0
    ? paint("not joined, saw nothing", "quiet")
    : `not joined, saw ${formatCount(bystander.frames)} frames`;
}

function receiptSays(receipt: ReportReceipt, paint: Paint): string {
  if (receipt.received === null) return paint("no report", "doubt");
  const partial = partialWords(receipt);
  if (receipt.received === 0 && partial === null) return paint("dry: nothing came", "bad");
  const parts = [
    ...(partial === null ? [] : [paint(partial, "doubt")]),
    receipt.lossRatio === null
      ? paint("loss unknown", "doubt")
      : receipt.lost === 0
        ? paint("no loss", "good")
        : paint(lossWords(receipt.lost, receipt.lossRatio), "bad"),
  ];
  if (receipt.longestGapMs !== null && receipt.longestGapMs > 0) {
    parts.push(`longest gap ${formatDurationNs(receipt.longestGapMs * 1e6)}`);
  }
  if (receipt.hostLost !== null && receipt.hostLost > 0)
    parts.push(paint(`${formatCount(receipt.hostLost)} lost in the host`, "doubt"));
  const { reordered, reordering, duplicates, delayVariation } = receipt;
  if (reordered !== null && reordered > 0) {
    parts.push(`${reordered} out of order${reordering == null ? "" : `, by up to ${reordering.maxExtent}`}`);
  }
  if (duplicates !== null && duplicates > 0) parts.push(`${duplicates} copies`);
  if (receipt.jitterMs !== null) parts.push(paint(`jitter ${formatDurationNs(receipt.jitterMs * 1e6)}`, "quiet"));
  if (delayVariation != null) {
    parts.push(paint(`delay varies by ${formatDurationNs(delayVariation.p99Ms * 1e6)} (99 %)`, "quiet"));
  }
  return parts.join(", ");
}

const lossWords = (lost: number | null, lossRatio: number): string =>
  lost === null ? `${formatRatio(lossRatio)} lost` : `${formatCount(lost)} lost (${formatRatio(lossRatio)})`;
