import { readFileSync } from "node:fs";
import type { ReportFinding, RunReport } from "@dyetrace/wire";
import { expect } from "vitest";

/** The demo with three VLANs, two routers, five switches and twelve agents, and what tests on it ask of reports. */
export const ROUTED_DEMO = readFileSync(
  new URL("../../../packages/practice/demo/quillfen-vlans.yaml", import.meta.url),
  "utf8",
);
export const DESKS = ["desk-1", "desk-2", "desk-3", "desk-4"];

/** By hand from the drawing at the head of the plan: desks, kiosks and tills, and all the others. */
export const vlanOf = (host: string): 10 | 20 | 30 =>
  host.startsWith("desk") ? 30 : /kiosk|till/.test(host) ? 20 : 10;

/** Router A joins VLANs 10 and 20, router B joins 20 and 30. */
export const hopsBetween = (a: string, b: string): number => Math.abs(vlanOf(a) - vlanOf(b)) / 10;

export const streamNames = (finding: ReportFinding): string[] => [...finding.streams].sort();

export const only = (report: RunReport): ReportFinding => {
  expect(report.findings.map(({ kind, title }) => `${kind}: ${title}`).join("\n")).not.toContain("\n");
  expect(report.findings).toHaveLength(1);
  return report.findings[0] as ReportFinding;
};

/** Listeners that got nothing at all, by stream. */
export const silentPairs = (report: RunReport): string[] =>
  report.receipts
    .filter(({ received }) => received === 0)
    .map(({ stream, listener }) => `${stream} ${listener}`)
    .sort();

export const silentHosts = (report: RunReport): string[] =>
  [...new Set(silentPairs(report).map((pair) => pair.split(" ")[1] ?? ""))].sort();

export const statusOf = (report: RunReport, place: string): string | undefined =>
  report.segments.find(({ id }) => id === place)?.status;

/** No suspect is called ok: neither where it is named nor, of one VLAN, the trunk or switch as a whole. */
export function expectNoSuspectOk(report: RunReport): void {
  const suspects = report.findings.flatMap((finding) => finding.suspects);
  const places = suspects.flatMap((place) => [place, place.replace(/ vlan [0-9]+$/, "")]);
  expect(places.map((place) => [place, statusOf(report, place)]).filter(([, status]) => status === "ok")).toEqual([]);
}

/**
 * Router B hears no report in VLAN 30, so it asks for nothing and forwards nothing into it. Its two links there, in both
 * directions, would look the same to every listener; that the packets of a desk come through it clears the rest of it.
 */
export function expectDeafRouterNamed(report: RunReport, streams: readonly string[]): void {
  const finding = only(report);
  expect(silentHosts(report)).toEqual(DESKS);
  expect(streamNames(finding)).toEqual(streams);
  expect(finding.suspects).toContain("hall:20>router-b:lan vlan 30");
  for (const suspect of finding.suspects) expect(suspect).toMatch(/router-b/);
  expect(finding.evidence.join(" ")).toContain("Membership reports travel the other way");
  expectNoSuspectOk(report);
}

/** Reports of the kiosks in VLAN 20 do not come to the core; data could come the other way. */
export function expectReportsWayNamed(report: RunReport): void {
  const finding = only(report);
  expect(silentHosts(report)).toEqual(["kiosk-1", "kiosk-2"]);
  expect(finding.suspects).toContain("pier-east:24>core:1 vlan 20");
  for (const suspect of finding.suspects) expect(suspect).toMatch(/^(core|pier-east)\b.* vlan 20$/);
  expect(finding.evidence.join(" ")).toContain("Membership reports travel the other way");
  expectNoSuspectOk(report);
}
