import { planPlace, type SiteGraph, unfoldedNames, vlanOfPlace } from "@dyetrace/site";
import { formatCount, formatRateBps, type RunReport } from "@dyetrace/wire";
import type { SiteTree } from "../layout/site-tree.ts";

type Finding = RunReport["findings"][number];

/** The two ends of the link that is looked at first. */
export interface PortPair {
  /** `core:1`, the end that sends into it. */
  readonly from: string;
  readonly to: string;
  /** Null where the plan does not say. */
  readonly speed: string | null;
  /** Where it is of one VLAN alone. */
  readonly vlan: number | null;
}

/** Of the likeliest suspect that is a link; where none is, of the link into the likeliest node. @returns null for a place that no link leads to */
export function portsToLookAt(graph: SiteGraph, finding: Finding, tree: SiteTree): PortPair | null {
  const ids = finding.suspects.flatMap((suspect) => [suspect, ...unfoldedNames(graph, suspect)]);
  const entries = ids.flatMap((name) => tree.byName.get(name)?.segmentId ?? []);
  const segment = [...ids, ...entries].flatMap((id) => graph.segments.get(id) ?? [])[0];
  if (segment === undefined) return null;
  const { from, to, link } = segment;
  return {
    from: `${planPlace(from.node)}:${from.port}`,
    to: `${planPlace(to.node)}:${to.port}`,
    vlan: vlanOfPlace(finding.suspects[0] ?? ""),
    speed: link.speedBps === null ? null : formatRateBps(link.speedBps),
  };
}

/** `a link of 1 Gbit/s, in VLAN 20`. */
export const aboutPorts = ({ speed, vlan }: PortPair): string =>
  `${speed === null ? "a link whose speed is not in the plan" : `a link of ${speed}`}${vlan === null ? "" : `, in VLAN ${vlan}`}`;

/** What cleared the other places: who received meanwhile, and how many segments and nodes that shows to work. */
export function clearedWords(report: RunReport, finding: Finding, behind: ReadonlySet<string>): string {
  const isAbout = (stream: string): boolean => finding.streams.length === 0 || finding.streams.includes(stream);
  const good = report.receipts.filter(
    ({ stream, listener, received }) => isAbout(stream) && !behind.has(listener) && received !== null && received > 0,
  );
  const hosts = new Set(good.map(({ listener }) => listener)).size;
  const ok = report.segments.filter(({ status }) => status === "ok").length;
  if (hosts === 0) return "No other listener received anything meanwhile, so nothing clears the other places.";
  const who = hosts === 1 ? "1 listener elsewhere" : `${formatCount(hosts)} listeners elsewhere`;
  return `${who} received the stream meanwhile. ${formatCount(ok)} of ${formatCount(report.segments.length)} segments and nodes ${ok === 1 ? "is" : "are"} shown to work.`;
}
