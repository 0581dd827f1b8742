import { completeReport, shortenReport } from "@dyetrace/wire";
import type { ReportBody } from "./kept-report.ts";
import { packJson, unpackJson } from "./pack-json.ts";

/** A report's body as the store keeps it: in the short form, deflated. */
export const packBody = ({ report, watch }: ReportBody): Uint8Array =>
  packJson({ report: shortenReport(report), watch });

/** Rows that an earlier version wrote come out in today's form. */
export function unpackBody(bytes: Uint8Array): ReportBody {
  const { report, watch } = unpackJson(bytes) as { readonly report: unknown; readonly watch: ReportBody["watch"] };
  return { report: completeReport(report) as ReportBody["report"], watch };
}
