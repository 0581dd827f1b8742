import type { ReportBystander, ReportFinding, ReportReceipt, RunReport } from "@dyetrace/wire";

/** What a test asks of a report, with the whole report in the message where it is not there. */
export function findingOf(report: RunReport, kind: string): ReportFinding {
  const found = report.findings.filter((finding) => finding.kind === kind);
  const [first] = found;
  if (first === undefined || found.length > 1)
    throw new Error(`${found.length} findings of kind ${kind} in ${tell(report)}`);
  return first;
}

/** Findings about this machine while it was busy: it runs every host of the site. */
const OF_A_BUSY_MACHINE: ReadonlySet<string> = new Set(["source-stalled", "host-side-loss"]);

/** What a report accuses the network of. */
export const accusations = ({ findings }: RunReport): readonly ReportFinding[] =>
  findings.filter(({ kind }) => !OF_A_BUSY_MACHINE.has(kind));

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
