import { intersectRanges } from "@dyetrace/measure";
import { type LinkSegment, planPlace, vlanOfPlace } from "@dyetrace/site";
import { isAboutGroup } from "@dyetrace/wire/devices/is-about-group";
import { instant, nameList } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { TableObservation } from "../run/device-observations.ts";
import { firstSeqSince } from "../run/send-time.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { DeviceView } from "./device-view.ts";
import type { Disagreement } from "./disagreement.ts";
import { countedPath } from "./path-cuts.ts";

/** A port that was asked for stands in a table by then (RFC 3376, section 8.11: reports are repeated within a second). */
const SETTLED_MS = 1_500;
/** A reading is spread over some time, and clocks are apart: packets came all through this long about it. Our choice, no source. */
const ABOUT_MS = 500;

/**
 * Ports that a device's table does not list for a group while a host behind them received it: what is missing there proves nothing.
 * Tables that are cut, and ports to which all groups go, are no disagreement; nor are ports behind which another device sits where
 * nobody knows which ports those are.
 */
export function tablesThatLackPorts(
  site: SiteIndex,
  view: DeviceView,
  streams: readonly StreamFacts[],
): Disagreement[] {
  const found = new Map<string, Disagreement>();
  for (const facts of streams) {
    for (const receipt of facts.receipts) {
      for (const segment of countedPath(site, facts.tree, receipt.node).segments) {
        const device = planPlace(segment.from.node);
        const { stream } = facts.stream;
        const key = `${device}:${segment.from.port} ${facts.stream.group}`;
        if (found.has(key)) continue;
        const atMs = lackedAt(site, view, facts, receipt, segment);
        if (atMs.length === 0) continue;
        found.set(key, {
          ...{ device, distrusted: "tables", streams: [stream] },
          title: `${device}'s group table is not used for what it lacks: a host receives what it does not list`,
          sentence: `${device}'s table had no entry for ${facts.stream.group} on port ${segment.from.port} ${nameList(atMs.map(instant))}, and ${receipt.listener.host} behind it received the packets of that time: either the device sends the group to all ports, or its table is not complete, or the plan is wrong there.`,
        });
      }
    }
  }
  return [...found.values()];
}

/** @returns when it was read so; none where any reading of that time lists the port */
function lackedAt(
  site: SiteIndex,
  view: DeviceView,
  facts: StreamFacts,
  receipt: PlacedReceipt,
  { from, to, id }: LinkSegment,
): readonly number[] {
  if (site.nodes[site.nodeNumber.get(from.node) ?? -1]?.kind !== "switch") return [];
  const isHostBehind = site.nodes[site.nodeNumber.get(to.node) ?? -1]?.kind === "host";
  const vlan = vlanOfPlace(id);
  const isVlan = (row: number | null): boolean => row === null || vlan === null || row === vlan;
  const lists = ({ groups, allGroupPorts }: TableObservation): boolean =>
    groups.some(
      (row) => isVlan(row.vlan) && isAboutGroup(row.group, facts.stream.group) && row.ports.includes(from.port),
    ) || (allGroupPorts ?? []).some((row) => isVlan(row.vlan) && row.ports.includes(from.port));
  const { joinedFromMs, joinedToMs } = receipt.listener;
  const during = view
    .tables(from.node)
    .filter(({ atMs }) => atMs >= joinedFromMs + SETTLED_MS && (joinedToMs === null || atMs < joinedToMs - ABOUT_MS));
  if (during.some((table) => !table.isWhole || lists(table))) return [];
  if (!isHostBehind && during.some(({ allGroupPorts }) => allGroupPorts === null)) return [];
  return during.flatMap(({ atMs }) => (cameAt(facts, receipt, atMs) ? [atMs] : []));
}

/** Whether the host got every packet that was sent about an instant, and there were some. */
function cameAt({ stream }: StreamFacts, { lost, window, listener }: PlacedReceipt, atMs: number): boolean {
  if (listener.receivedPackets === 0 || stream.firstSentMs === null || stream.lastSentMs === null) return false;
  if (atMs - ABOUT_MS < stream.firstSentMs || atMs + ABOUT_MS > stream.lastSentMs) return false;
  const [first, last] = [firstSeqSince(stream, atMs - ABOUT_MS), firstSeqSince(stream, atMs + ABOUT_MS)];
  if (first === null || last === null || last <= first || first < window[0] || last > window[1]) return false;
  const { unknown = [] } = listener;
  return intersectRanges(lost, [[first, last]]).length === 0 && intersectRanges(unknown, [[first, last]]).length === 0;
}
