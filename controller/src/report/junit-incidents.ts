import { formatDurationNs, incidentName, type ReportIncident, type RunReport } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { dateAndTime } from "./time-of-day.ts";

/** One test case for a CI system. `error` and `skipped` say that it could not be judged. */
export interface JunitCase {
  readonly suite: string;
  readonly name: string;
  readonly outcome:
    | { readonly kind: "passed"; readonly detail?: string }
    | { readonly kind: "failed" | "error" | "skipped"; readonly message: string; readonly detail: string };
}

/** Kinds of which a run that failed says that they went wrong; and those of which it is not known what went wrong meanwhile. */
const HARMS: ReadonlySet<string> = new Set(["loss", "source", "duplicates", "reordered"]);
const UNKNOWN: ReadonlySet<string> = new Set(["away", "restart", "dropped", "not-looked-at", "host-loss"]);

/**
 * A case for each kind of incident at each place, by a name that is the same in each run, so that a CI system shows how often
 * it comes back. As all cases they fail no more than the verdict does.
 */
export function incidentCases({ incidents = [], verdict, site, startedAt }: RunReport): JunitCase[] {
  return [...groupBy(incidents, (one) => incidentName(one, site))].map(([name, own]): JunitCase => {
    const lines = own.map(
      ({ fromMs, title }) => `${dateAndTime(new Date(Date.parse(startedAt) + fromMs).toISOString())}: ${title}`,
    );
    return { suite: "incidents", name, outcome: outcomeOf(own, lines, verdict) };
  });
}

function outcomeOf(
  own: readonly ReportIncident[],
  lines: readonly string[],
  verdict: RunReport["verdict"],
): JunitCase["outcome"] {
  const kind = own[0]?.kind ?? "";
  const detail = lines.join("\n");
  if (!HARMS.has(kind) && !UNKNOWN.has(kind)) return { kind: "passed", detail };
  const times = own.reduce((sum, one) => sum + (one.times ?? 1), 0);
  const lasted = formatDurationNs(own.reduce((sum, { fromMs, toMs }) => sum + (toMs - fromMs) * 1e6, 0));
  const message = `${times === 1 ? "once" : `${times} times`}, ${lasted} in all`;
  return { kind: HARMS.has(kind) && verdict === "fail" ? "failed" : "skipped", message, detail };
}
