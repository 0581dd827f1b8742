import type { SiteTree } from "../layout/site-tree.ts";
import type { Channel } from "../water/channel-water.ts";
import type { FindingMark } from "../water/finding-marks.ts";
import type { HostWater } from "../water/host-water.ts";

/** On what a link of a drawn plan rests. */
export type RestsOn = "seen" | "concluded" | "open";

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
  /** The finding that the map is to show, by its position in the report's list; it is zoomed to. */
  readonly shown?: number | null;
  /** Of a drawn plan: what the links rest on, by the place at their lower end. */
  readonly rests?: ReadonlyMap<string, RestsOn>;
  readonly selection: MapSelection | null;
  readonly onSelect: (selection: MapSelection | null) => void;
  readonly name: string;
}
