import { completeReport, shortenReport } from "@dyetrace/wire";
import type { ReportMessage } from "./report-message.ts";

/** The short form in which reports go over the link and into the spool. */
export const writtenReport = (message: ReportMessage): unknown => ({
  ...message,
  report: shortenReport(message.report),
});

/** What `writtenReport`, or an earlier version of this program, wrote; not looked at yet. */
export const completeMessage = (value: unknown): unknown =>
  typeof value === "object" && value !== null && "report" in value
    ? { ...value, report: completeReport(value.report) }
    : value;

/** Bytes that it takes in the spool, its line end included. */
export const sizeOfReport = (message: ReportMessage): number =>
  Buffer.byteLength(JSON.stringify(writtenReport(message))) + 1;
