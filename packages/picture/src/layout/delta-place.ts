export interface DeltaLayout {
  readonly places: ReadonlyMap<string, NodePlace>;
  readonly width: number;
  readonly height: number;
}

export interface NodePlace {
  readonly name: string;
  readonly x: number;
  readonly y: number;
  /** Where the name is written, seen from the node. */
  readonly label: "right" | "left";
  /** Polylines of the node's own channel, from the node outwards: water that has passed the node. */
  readonly header: readonly Polyline[];
  /** The way along the parent's own channel to where `inlet` begins; empty for the root. */
  readonly approach: Polyline;
  /** The segment from the parent's channel to this node; empty for the root. */
  readonly inlet: Polyline;
  /** Nodes hidden below because this one is folded up. */
  readonly foldedNodes: number;
}

export type Point = readonly [x: number, y: number];
export type Polyline = readonly Point[];

export interface DeltaOptions {
  /** The space to fill: decides how switches are arranged. */
  readonly width: number;
  readonly height: number;
  /** Nodes whose subtree is folded up. */
  readonly folded: ReadonlySet<string>;
  /** Width of a name in pixels. */
  readonly measure: (name: string) => number;
  /** A second line below some names. */
  readonly readings?: ReadonlyMap<string, string>;
}
