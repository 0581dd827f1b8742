import {
  FINDING_KINDS,
  type FindingKind,
  type ReportBystander,
  type ReportFinding,
  type ReportReceipt,
  type RunReport,
} from "@dyetrace/wire";

/** What a test asks of a report, with the whole report in the message where it is not there. */
export function findingOf(report: RunReport, kind: FindingKind): ReportFinding {
  const found = report.findings.filter((finding) => finding.kind === kind);
  const [first] = found;
  if (first === undefined || found.length > 1)
    throw new Error(`${found.length} findings of kind ${kind} in ${tell(report)}`);
  return first;
}

/** What a report accuses the network of: this machine runs every host of the site, and what those suffer is its own. */
export const accusations = ({ findings }: RunReport): readonly ReportFinding[] =>
  findings.filter(({ kind }) => FINDING_KINDS[kind].effect !== "blames-host");

export function receiptOf(report: RunReport, stream: string, listener: string): ReportReceipt {
  const found = report.receipts.find((receipt) => receipt.stream === stream && receipt.listener === listener);
  if (found === undefined) throw new Error(`No receipt of ${stream} at ${listener} in ${tell(report)}`);
  return found;
}

export function bystanderOf(report: RunReport, stream: string, agent: string): ReportBystander {
  const found = report.bystanders.find((bystander) => bystander.stream === stream && bystander.agent === agent);
  if (found === undefined) throw new Error(`No bystander ${agent} of ${stream} in ${tell(report)}`);
  return found;
}

/** The parts of a report that say what was concluded. */
export const tell = ({ verdict, reason, findings, notes }: RunReport): string =>
  JSON.stringify({ verdict, reason, findings, notes }, null, 1);

/** A receipt without a missing packet. */
export const UNBROKEN = { lost: 0, gaps: [] };

/** The figure before a unit in a sentence: `12.1` of "ran out 12.1 s after". */
export function figureIn(sentence: string, unit: string): number {
  const match = new RegExp(`([0-9]+(?:\\.[0-9]+)?) ${unit}\\b`).exec(sentence);
  if (match === null) throw new Error(`No figure in ${unit} in: ${sentence}`);
  return Number(match[1]);
}
