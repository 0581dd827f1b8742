import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import type { HostWater } from "./host-water.ts";

/** What is in the channel that leads to a node. */
export type ChannelWater =
  /** No agent below has anything to do with the stream. */
  | "closed"
  /** Joined below, nothing is due now. */
  | "still"
  | "flows"
  /** It flows, and every listener below misses something. */
  | "thins"
  /** It flows whole but for outages, at every listener below. */
  | "breaks"
  /** Every listener below that can tell got nothing. */
  | "dry"
  /** Only uninvited frames came this way. */
  | "seeps"
  | "unknown";

export interface Channel {
  readonly water: ChannelWater;
  /** The channel above carries water and this one does not (`dry`), or this one first misses some, or leaks. */
  readonly isFirst: boolean;
  /** It leads to or from one of several routers, and which of them brings the packets is not known. */
  readonly isWayUnknown: boolean;
}

/** What one host says of the channel that leads to it. */
type Sign =
  | "came"
  | "source"
  | "silent-source"
  | "thins"
  | "breaks"
  | "by-design"
  | "leaks"
  | "dry"
  | "waiting"
  | "unknown"
  | "apart";

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
  const visit = (node: TreeNode): ReadonlySet<Sign> => {
    const own = waterOf(node);
    const signs = new Set<Sign>(own === null ? [] : [signOf(own)]);
    for (const child of node.children) for (const sign of visit(child)) signs.add(sign);
    waters.set(node.node.name, node === tree.root ? rootWater(signs) : waterAt(node, signs));
    return signs;
  };
  for (const root of [tree.root, ...tree.apart]) visit(root);
  const channels = new Map<string, Channel>();
  for (const [name, node] of tree.byName) {
    const water = waters.get(name) ?? "closed";
    const above = node.parent === null ? null : (waters.get(node.parent) ?? null);
    const isWayUnknown = isWet(water) && node.parent !== null && tree.byName.get(node.parent)?.isOneOfSeveral === true;
    channels.set(name, { water, isFirst: above !== null && above !== water && isEvent(water, above), isWayUnknown });
  }
  return channels;
}

const isEvent = (water: ChannelWater, above: ChannelWater): boolean =>
  water === "dry" ? isWet(above) : water === "thins" || water === "breaks" || water === "seeps";

/** Whether the stream runs in a channel, whole or not. */
export const isWet = (water: ChannelWater): boolean => water === "flows" || water === "thins" || water === "breaks";

/** What a host itself dropped or kept from the program did come through the channel. */
function signOf(own: HostWater): Sign {
  switch (own.kind) {
    case "whole":
    case "some":
    case "blocked":
      return "came";
    case "thins":
      return own.isHostsOwn ? "came" : own.isInterrupted ? "breaks" : "thins";
    case "uninvited":
      return own.isByDesign ? "by-design" : "leaks";
    case "not-reported":
      return "unknown";
    case "source":
    case "silent-source":
    case "dry":
    case "waiting":
    case "unknown":
    case "apart":
      return own.kind;
  }
}

/** Behind a router that is one of several nobody knows what came its way, unless something came to nobody. */
function waterAt(node: TreeNode, signs: ReadonlySet<Sign>): ChannelWater {
  const water = summarise(signs);
  const isHidden = isWet(water) || (node.children.length === 0 && water === "closed");
  return node.isOneOfSeveral && isHidden ? "unknown" : water;
}

function summarise(signs: ReadonlySet<Sign>): ChannelWater {
  if (signs.has("came") || signs.has("source")) return "flows";
  if (signs.has("thins")) return "thins";
  if (signs.has("breaks")) return "breaks";
  if (signs.has("by-design")) return "flows";
  if (signs.has("leaks")) return "seeps";
  if (signs.has("dry")) return "dry";
  if (signs.has("waiting")) return "still";
  return signs.has("unknown") ? "unknown" : "closed";
}

const OF_A_FULL_SOURCE: readonly Sign[] = ["came", "thins", "breaks", "dry", "by-design", "leaks"];

/** The source's own pool: full while any of its water arrives anywhere, or should. */
const rootWater = (signs: ReadonlySet<Sign>): ChannelWater =>
  signs.has("silent-source")
    ? "dry"
    : OF_A_FULL_SOURCE.some((sign) => signs.has(sign))
      ? "flows"
      : signs.has("unknown") && !signs.has("waiting")
        ? "unknown"
        : "still";
