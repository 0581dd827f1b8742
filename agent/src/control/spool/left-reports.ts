import { readdirSync } from "node:fs";
import { AgentMessageSchema, parseAs } from "@dyetrace/wire";
import type { ReportMessage } from "./report-message.ts";
import type { RecordPlace, SpoolFile } from "./spool-file.ts";
import type { WaitingReport } from "./waiting-reports.ts";
import { completeMessage } from "./written-report.ts";

export const SUFFIX = ".spool";

/** What an earlier process of this agent left in a file: reports of one stint, and how far they are acknowledged. */
export function leftReports(file: SpoolFile): Record<"waiting" | "acknowledged", readonly WaitingReport[]> {
  let upTo = 0;
  const left: WaitingReport[] = [];
  for (const { place, value } of file.records()) {
    const message = asReport(value);
    if (message !== null) left.push(leftReport(message, file, place));
    else upTo = Math.max(upTo, acknowledgedIn(value));
  }
  return {
    waiting: left.filter(({ lastNumber }) => lastNumber > upTo),
    acknowledged: left.filter(({ lastNumber }) => lastNumber <= upTo),
  };
}

/** The number up to which a line of a spool's file says that reports are acknowledged; 0: it says nothing of that. */
function acknowledgedIn(value: unknown): number {
  const number = typeof value === "object" && value !== null && "acknowledged" in value ? value.acknowledged : 0;
  return typeof number === "number" ? number : 0;
}

/** In the order in which their stints began. */
export const leftovers = (folder: string): readonly string[] =>
  readdirSync(folder)
    .filter((name) => name.endsWith(SUFFIX))
    .sort((a, b) => Number.parseInt(a, 10) - Number.parseInt(b, 10));

/** One that an earlier process left. Whether it went out before is not known, so it is taken as sent. */
const leftReport = (message: ReportMessage, file: SpoolFile, place: RecordPlace): WaitingReport => ({
  runId: message.runId,
  stint: message.stint,
  firstNumber: message.firstNumber,
  lastNumber: message.lastNumber,
  file,
  place,
  message: null,
  sizeBytes: place.length + 1,
  isFinal: message.isFinal,
  wasSent: true,
});

/** What another version left, or what was damaged, is no report of ours. */
function asReport(value: unknown): ReportMessage | null {
  try {
    const message = parseAs(AgentMessageSchema, completeMessage(value), "MESSAGE_INVALID", "A spooled report");
    return message.kind === "report" ? message : null;
  } catch {
    return null;
  }
}
