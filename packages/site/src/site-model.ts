/** What the user said about the site, checked: the graph that everything else works on. */
export type NodeKind = "switch" | "unmanaged" | "router" | "access-point" | "host";

export interface SiteNode {
  readonly name: string;
  readonly kind: NodeKind;
  /** True for the node that the plan declares as querier. */
  readonly isQuerier: boolean;
  /** Name of the agent on this host; null for nodes that carry none. */
  readonly agent: string | null;
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
