import { QUERIER_COLUMNS, querierRows, querierSentences, type RunReport, sayQuerierState } from "@dyetrace/wire";
import { ms, table } from "./html-table.ts";
import { type Markup, markup } from "./markup.ts";
import { type Paint, type Tone, wrap } from "./terminal-paint.ts";

/** Who asks for memberships, VLAN by VLAN; of an earlier report only who was heard. */
export function htmlQueriers({ queriers, querierAudit }: RunReport): Markup | null {
  if (querierAudit === undefined) return renderHeard(queriers);
  if (querierAudit.length === 0) return null;
  const states = querierAudit.map((audit) => markup`<p>${sayQuerierState(audit)}.</p>`);
  const changes = querierAudit.flatMap(querierSentences).map((sentence) => markup`<p>${sentence}</p>`);
  const rows = querierAudit.flatMap((audit) =>
    querierRows(audit).map(([name = null, ...row]) => [
      audit.vlan === null ? name : `${name} in VLAN ${audit.vlan}`,
      ...row,
    ]),
  );
  return rows.length === 0
    ? markup`<section><h2>Queriers</h2>${states}</section>`
    : markup`${table("Queriers", QUERIER_COLUMNS, rows)}${states}${changes}`;
}

function renderHeard(queriers: RunReport["queriers"]): Markup | null {
  if (queriers.length === 0) return null;
  return table(
    "Queriers heard",
    ["Address", "Version", "Queries", "Interval", "Heard by"],
    queriers.map(({ address, family, version, queries, intervalSeenMs, heardBy, isElected }) => [
      `${address}${isElected ? " (elected)" : ""}`,
      `${family === 4 ? "IGMP" : "MLD"}v${version}`,
      queries,
      ms(intervalSeenMs),
      heardBy.join(", "),
    ]),
  );
}

/** VLANs that are told one by one; beyond that only those where it is not as it should be. */
const MOST_TOLD = 4;
const GOOD: ReadonlySet<string> = new Set(["as-planned", "one"]);

/** Who asks for memberships: a line for each VLAN and family, and a compact table of those that were heard. */
export function terminalQueriers({ querierAudit = [] }: RunReport, paint: Paint): string[] {
  const told = querierAudit.length <= MOST_TOLD ? querierAudit : querierAudit.filter(({ state }) => !GOOD.has(state));
  const rest = querierAudit.length - told.length;
  if (querierAudit.length === 0) return [];
  return [
    "",
    paint("Queriers", "strong"),
    ...told.flatMap((audit) => {
      const tone: Tone = GOOD.has(audit.state) ? "good" : audit.state === "unknown" ? "doubt" : "bad";
      const [what = "", ...more] = sayQuerierState(audit).split(": ");
      return [
        ...wrap(`${what}: ${paint(more.join(": "), tone)}`, "  ", "    "),
        ...querierRows(audit).flatMap((row) => wrap(tellRow(row), "    ", "      ")),
        ...querierSentences(audit).flatMap((sentence) => wrap(sentence, "    ", "      ")),
      ];
    }),
    ...(rest > 0 ? [paint(`  and ${rest} more as they should be`, "quiet")] : []),
  ];
}

/** "10.77.1.1  IGMPv3  asks every 2 s, answers within 500 ms, …": what is not known is left out. */
function tellRow(row: readonly (string | number | null)[]): string {
  const [name, version, ...rest] = row;
  const told = rest.flatMap((value, at) =>
    value === null ? [] : [`${(QUERIER_COLUMNS[at + 2] ?? "").toLowerCase()} ${value}`],
  );
  return `${name}  ${version}  ${told.join(", ")}`;
}
