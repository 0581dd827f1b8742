import type { PhyMode } from "@dyetrace/wire/air/phy-mode";
import type { RadioBand } from "@dyetrace/wire/air/ppdu-time";

/** What the user said about the site, checked: the graph that everything else works on. */
export type NodeKind = "switch" | "unmanaged" | "router" | "access-point" | "host";

export interface SiteNode {
  readonly name: string;
  readonly kind: NodeKind;
  /** True for the node that the plan declares as querier (of a VLAN at least). */
  readonly isQuerier: boolean;
  /** Name of the agent on this host; null for nodes that carry none. */
  readonly agent: string | null;
  /** What the plan gives a host, a router or a switch that queries, in every subnet one at most; absent where it gives none. */
  readonly addresses?: readonly string[];
  /** How long a node that forwards keeps a membership that nobody renews; absent where the plan does not say. */
  readonly membershipTimeMs?: number;
  /** Of an access point, in lower case with colons; absent where the plan gives none. */
  readonly bssids?: readonly string[];
  readonly radio?: SiteRadio;
  /** Where a switch, router or access point is asked for its tables; absent where the plan does not say. */
  readonly management?: string;
  /** False: it announces nothing and answers no questions; absent where the plan does not say. */
  readonly announces?: boolean;
}

/** The radio of an access point or a host; null where the plan does not say. */
export interface SiteRadio {
  readonly band: RadioBand | null;
  readonly channel: number | null;
  /** How an access point sends group frames. */
  readonly multicastMode: PhyMode | null;
  readonly isEncrypted: boolean | null;
  /** Whether an access point sends group frames as unicast, to each station that has joined. */
  readonly isConverting: boolean | null;
  readonly dtim: number | null;
  /** How frames to one station are sent: to this host, or to any of this access point's. */
  readonly stationMode: PhyMode | null;
  /** Frames in one A-MPDU. */
  readonly aggregatedFrames: number | null;
}

export interface PortRef {
  readonly node: string;
  readonly port: string;
}

export interface SiteLink {
  /** Position in the plan, from 0. */
  readonly index: number;
  readonly a: PortRef;
  readonly b: PortRef;
  /** Null when the plan does not say. */
  readonly speedBps: number | null;
  /** Numbers of the VLANs that cross it, ascending; absent in a plan without VLANs. */
  readonly vlans?: readonly number[];
  /** What the router at its end counts for a route over it; absent: 1. */
  readonly cost?: number;
  /** True: spanning tree keeps it as a spare, and nothing crosses it. */
  readonly isBlocked?: boolean;
}

/** A VLAN of the plan. */
export interface SiteVlan {
  readonly number: number;
  readonly name: string | null;
  /** Subnets as the plan writes them, such as `192.0.2.0/24`; null where it says nothing. */
  readonly ipv4: string | null;
  readonly ipv6: string | null;
  /** The node that queries in it; null where the plan names none. */
  readonly querier: string | null;
}

/** One direction of a link. Its id is `a:port>b:port`. */
export interface LinkSegment {
  readonly id: string;
  readonly from: PortRef;
  readonly to: PortRef;
  readonly link: SiteLink;
}

export interface SiteGraph {
  readonly name: string;
  /** By number; absent in a plan without VLANs. */
  readonly vlans?: ReadonlyMap<number, SiteVlan>;
  /** In the order of the plan. */
  readonly nodes: ReadonlyMap<string, SiteNode>;
  readonly links: readonly SiteLink[];
  /** Both directions of every link, by id. */
  readonly segments: ReadonlyMap<string, LinkSegment>;
  /** Segments that leave a node, in the order of the plan. */
  readonly outgoing: ReadonlyMap<string, readonly LinkSegment[]>;
}

/** The way traffic takes: nodes in order and the segments between them (one fewer). */
export interface SitePath {
  readonly nodes: readonly string[];
  readonly segments: readonly LinkSegment[];
}

export const segmentId = (from: PortRef, to: PortRef): string => `${from.node}:${from.port}>${to.node}:${to.port}`;
