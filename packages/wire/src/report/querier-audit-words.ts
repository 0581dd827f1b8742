import { formatDurationNs } from "../units.ts";
import type { ReportQuerierAudit, ReportQuerierState } from "./report-querier-schema.ts";

/** The audit of queriers in words and columns, the same on every screen. */
const STATE_WORDS: Readonly<Record<ReportQuerierState, string>> = {
  "as-planned": "as planned",
  one: "one querier; the plan tells no address to compare",
  another: "another than planned",
  several: "several at once",
  unaddressed: "only from an address that wins no election",
  none: "none",
  unknown: "none heard, in less time than a querier may be silent",
};

export const QUERIER_COLUMNS: readonly string[] = [
  "Querier",
  "Version",
  "Asks every",
  "Answers within",
  "Robustness",
  "Membership lasts",
  "Queries",
  "Silent at the end",
  "Heard by",
];

/** "IGMP in VLAN 20: as planned (core)". */
export function sayQuerierState({ vlan, family, state, planned }: ReportQuerierAudit): string {
  const where = vlan === null ? "" : ` in VLAN ${vlan}`;
  const by =
    planned === null
      ? "the plan names none"
      : `planned: ${planned.node}${planned.address === null ? "" : `, ${planned.address}`}`;
  return `${family === 4 ? "IGMP" : "MLD"}${where}: ${STATE_WORDS[state]} (${by})`;
}

/** One row for each querier that was heard, under `QUERIER_COLUMNS`; null is unknown. */
export const querierRows = ({ family, heard }: ReportQuerierAudit): (string | number | null)[][] =>
  heard.map((one) => [
    `${one.address}${one.isPlanned === false || one.sender !== null ? " (not planned)" : ""}`,
    `${family === 4 ? "IGMP" : "MLD"}v${one.version}`,
    time(one.intervalMs),
    time(one.maxResponseMs),
    one.robustness,
    time(one.membershipMs),
    one.queries,
    time(one.silentMs),
    [...one.heardBy, ...(one.sender === null ? [] : [`sent by ${one.sender}`])].join(", "),
  ]);

/** What changed in the run, and who heard a querier not at all, one sentence each. */
export function querierSentences({ elections, heard, family }: ReportQuerierAudit): string[] {
  const name = family === 4 ? "IGMP" : "MLD";
  const changes = elections.map(({ atMs, from, to, how, silenceMs, heardBy }) => {
    const when = atMs < 0 ? `${time(-atMs)} before the run` : `${time(atMs)} into the run`;
    const why =
      how === "won"
        ? "its address is lower, so it won the election"
        : `after ${time(silenceMs)} without a query of the other`;
    return `${name}: ${to} took over from ${from} ${when}, ${why} (heard by ${heardBy.join(", ")}).`;
  });
  const gaps = heard
    .filter(({ heardBy, unheardBy }) => heardBy.length > 0 && unheardBy.length > 0)
    .map(({ address, unheardBy }) => `${name}: no query of ${address} came to ${unheardBy.join(", ")}.`);
  return [...changes, ...gaps];
}

const time = (ms: number | null): string | null => (ms === null ? null : formatDurationNs(ms * 1e6));
