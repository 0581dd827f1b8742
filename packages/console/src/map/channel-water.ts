import type { HostWater } from "./host-water.ts";
import type { SiteTree, TreeNode } from "./layout/site-tree.ts";

/** What is in the channel that leads to a node. */
export type ChannelWater =
  /** No agent below has anything to do with the stream. */
  | "closed"
  /** Joined below, nothing is due now. */
  | "still"
  | "flows"
  /** It flows, and every listener below misses something. */
  | "thins"
  /** Every listener below that can tell got nothing. */
  | "dry"
  /** Only uninvited frames came this way. */
  | "seeps"
  | "unknown";

export interface Channel {
  readonly water: ChannelWater;
  /** The channel above carries water and this one does not (`dry`), or this one first misses some (`thins`), or leaks. */
  readonly isFirst: boolean;
}

/**
 * Works out from what reached the hosts what is in each channel, and in the node at its lower end. It accuses nobody:
 * between a wet branch and a dry host there may be several segments, and which of them is at fault is the report's to say.
 * @param waterOf what reached the host; null where it has nothing to do with the stream
 * @returns by name of the node at the lower end; the root has its own entry
 */
export function channelWaters(
  tree: SiteTree,
  waterOf: (node: TreeNode) => HostWater | null,
): ReadonlyMap<string, Channel> {
  const waters = new Map<string, ChannelWater>();
  const below = new Map<string, ReadonlySet<HostWater["kind"] | "leaks">>();
  const visit = (node: TreeNode): ReadonlySet<HostWater["kind"] | "leaks"> => {
    const kinds = new Set<HostWater["kind"] | "leaks">();
    const own = waterOf(node);
    if (own !== null) kinds.add(own.kind === "uninvited" && !own.isByDesign ? "leaks" : own.kind);
    for (const child of node.children) for (const kind of visit(child)) kinds.add(kind);
    below.set(node.node.name, kinds);
    waters.set(node.node.name, summarise(kinds));
    return kinds;
  };
  visit(tree.root);
  const rootKinds = below.get(tree.root.node.name);
  if (rootKinds !== undefined) waters.set(tree.root.node.name, rootWater(rootKinds));
  const channels = new Map<string, Channel>();
  for (const [name, node] of tree.byName) {
    const water = waters.get(name) ?? "closed";
    const above = node.parent === null ? null : (waters.get(node.parent) ?? null);
    channels.set(name, { water, isFirst: above !== null && above !== water && isEvent(water, above) });
  }
  return channels;
}

const isEvent = (water: ChannelWater, above: ChannelWater): boolean =>
  water === "dry" ? above === "flows" || above === "thins" : water === "thins" || water === "seeps";

function summarise(kinds: ReadonlySet<HostWater["kind"] | "leaks">): ChannelWater {
  if (kinds.has("whole") || kinds.has("some") || kinds.has("source")) return "flows";
  if (kinds.has("thins")) return "thins";
  if (kinds.has("uninvited")) return "flows";
  if (kinds.has("leaks")) return "seeps";
  if (kinds.has("dry")) return "dry";
  if (kinds.has("waiting")) return "still";
  return kinds.has("unknown") ? "unknown" : "closed";
}

/** The source's own pool: full while any of its water arrives anywhere, or should. */
const rootWater = (kinds: ReadonlySet<HostWater["kind"] | "leaks">): ChannelWater =>
  kinds.has("whole") ||
  kinds.has("some") ||
  kinds.has("thins") ||
  kinds.has("dry") ||
  kinds.has("uninvited") ||
  kinds.has("leaks")
    ? "flows"
    : kinds.has("waiting")
      ? "still"
      : kinds.has("unknown")
        ? "unknown"
        : "still";
