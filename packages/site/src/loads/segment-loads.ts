import type { LinkSegment, SiteGraph } from "../model/site-model.ts";
import { planPlace } from "../vlans/vlan-place.ts";
import { reachByVlan } from "../ways/by-design-reach.ts";
import { wireRateBps } from "./ethernet-load.ts";

export interface LoadStream {
  /** Name of a node. */
  readonly source: string;
  readonly group: string;
  /** Names of the nodes that ever join the group by way of this stream. */
  readonly listeners: readonly string[];
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
}

export interface SegmentLoad {
  readonly segment: LinkSegment;
  /** Ethernet bits per second, preamble and gap included. */
  readonly loadBps: number;
  /** Share of the link's speed; null when the plan does not say how fast it is. May exceed 1. */
  readonly utilisationRatio: number | null;
}

/**
 * What the streams bring onto each segment when everyone has joined and every switch forwards as it should. A link
 * carries a stream once in every VLAN that needs it, however many listen behind it.
 * @param querier name of a node, or null for none; without it the declared or likeliest one
 * @returns only segments that carry something, in the order of the plan
 */
export function segmentLoads(graph: SiteGraph, streams: readonly LoadStream[], querier?: string | null): SegmentLoad[] {
  // Switches open ports for a group, not for a UDP port: whoever joins one stream of a group gets all of them.
  const membersOf = new Map<string, Set<string>>();
  for (const { group, listeners } of streams) {
    membersOf.set(group, new Set([...(membersOf.get(group) ?? []), ...listeners]));
  }
  const loads = new Map<string, number>();
  for (const { source, group, rateBps, payloadBytes } of streams) {
    const reach = reachByVlan(graph, source, membersOf.get(group) ?? [], querier);
    const onWireBps = wireRateBps(rateBps, payloadBytes, group.includes(":") ? 6 : 4);
    for (const id of [...reach.segments].map(planPlace)) loads.set(id, (loads.get(id) ?? 0) + onWireBps);
  }
  return [...graph.segments.values()].flatMap((segment) => {
    const loadBps = loads.get(segment.id);
    if (loadBps === undefined) return [];
    const { speedBps } = segment.link;
    return [{ segment, loadBps, utilisationRatio: speedBps === null ? null : loadBps / speedBps }];
  });
}
