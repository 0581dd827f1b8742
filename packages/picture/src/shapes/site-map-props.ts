import type { SiteTree } from "../layout/site-tree.ts";
import type { Channel } from "../water/channel-water.ts";
import type { FindingMark } from "../water/finding-marks.ts";
import type { HostWater } from "../water/host-water.ts";

export interface MapSelection {
  readonly node: string;
  readonly on: "node" | "channel";
}

export interface SiteMapProps {
  readonly tree: SiteTree;
  readonly channels: ReadonlyMap<string, Channel>;
  readonly hosts: ReadonlyMap<string, HostWater>;
  readonly marks: readonly FindingMark[];
  /** UDP payload bits per second in a channel that flows; null where nobody said. */
  readonly rateBps: (node: string) => number | null;
  /** Water moves only while it is known to. */
  readonly isMoving: boolean;
  /** Show the way to the marks alone: everything else is folded up, and nothing can be moved. */
  readonly isExcerpt?: boolean;
  readonly selection: MapSelection | null;
  readonly onSelect: (selection: MapSelection | null) => void;
  readonly name: string;
}
