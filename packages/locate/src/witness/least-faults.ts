import { familyOf } from "../run/address-family.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { linkTree, type SourceTree } from "../site/source-tree.ts";

/** Streams of one source and family that end together, joined alike and with packets of one size: what comes through of one says something of all. */
interface AlikeStreams {
  readonly silent: readonly Placed[];
  readonly served: readonly Placed[];
}

interface Placed {
  readonly group: string;
  readonly node: number;
}

/**
 * How many faults it takes at least to silence whom one source's streams do not reach in the end, if it hung on another
 * node. A branch of the site that somebody is served in has no fault at its top (Duffield 2003):
 * one fault silences at most what lies in one branch that nobody is served in, or that nobody is in one group. Counting
 * these takes far less than looking for the faults.
 * @returns by the node's number; 0 where the site has loops, in which routers choose
 */
export function leastFaultsFrom(site: SiteIndex, streams: readonly StreamFacts[]): (node: number) => number {
  if (site.hasLoops) return () => 0;
  const alike = alikeStreams(streams);
  return (node) => {
    const tree = linkTree(site, node);
    return alike.reduce((most, one) => Math.max(most, branchesApart(site, tree, one)), 0);
  };
}

function alikeStreams(streams: readonly StreamFacts[]): AlikeStreams[] {
  const sets = new Map<string, { readonly silent: Placed[]; readonly served: Placed[] }>();
  for (const { stream, groupKey, receipts, tree } of streams) {
    const last = stream.steps.at(-1);
    const family = familyOf(stream.group);
    const key = [family, stream.ssm, last?.payloadBytes, Math.round(last?.endMs ?? 0)].join(" ");
    const set = sets.get(key) ?? { silent: [], served: [] };
    sets.set(key, set);
    const silent = receipts.filter((one) => isSilentAtEnd(one) && one.node !== tree.source);
    const lastSeq = silent.reduce((latest, { window }) => Math.max(latest, window[1]), 0);
    const served = receipts.filter((one) => isWholeTo(lastSeq, one));
    for (const { node } of silent) set.silent.push({ group: groupKey, node });
    for (const { node } of served) set.served.push({ group: groupKey, node });
  }
  return [...sets.values()].filter(({ silent }) => silent.length > 0);
}

/** Branches joined where some fault might silence both; how many are left. */
function branchesApart(site: SiteIndex, tree: SourceTree, { silent, served }: AlikeStreams): number {
  const toAny = nodesOnWays(site, tree, served);
  const toGroup = new Map<string, Uint8Array>();
  const joined = new Joined();
  for (const { group, node } of silent) {
    const own =
      toGroup.get(group) ??
      nodesOnWays(
        site,
        tree,
        served.filter((one) => one.group === group),
      );
    toGroup.set(group, own);
    const branch = `${group} ${topOf(tree, node, own)}`;
    // Where others are served at the host's own node, only what concerns the group is left.
    joined.join(branch, toAny[node] === 1 ? branch : `${topOf(tree, node, toAny)}`);
  }
  return joined.count();
}

/** Nodes through which packets came on their way to these. */
function nodesOnWays(site: SiteIndex, tree: SourceTree, served: readonly Placed[]): Uint8Array {
  const isOnWay = new Uint8Array(site.nodes.length);
  for (const { node } of served) {
    for (let at = node; at !== -1 && isOnWay[at] === 0; at = tree.parent[at] ?? -1) isOnWay[at] = 1;
  }
  return isOnWay;
}

/** The highest node above which, and at which, nobody is served. */
function topOf(tree: SourceTree, node: number, isServed: Uint8Array): number {
  let top = node;
  for (let above = tree.parent[top] ?? -1; above !== -1 && isServed[above] === 0; above = tree.parent[top] ?? -1) {
    top = above;
  }
  return top;
}

/** Names that are joined two by two, and how many sets that leaves. */
class Joined {
  readonly #above = new Map<string, string>();

  join(one: string, other: string): void {
    const [a, b] = [this.#headOf(one), this.#headOf(other)];
    this.#above.set(a, b);
    this.#above.set(b, b);
  }

  count(): number {
    return [...this.#above].filter(([one, above]) => one === above).length;
  }

  #headOf(name: string): string {
    let head = name;
    for (let above = this.#above.get(head); above !== undefined && above !== head; above = this.#above.get(head)) {
      head = above;
    }
    return head;
  }
}

const isSilentAtEnd = ({ lost, window }: PlacedReceipt): boolean => (lost.at(-1)?.[1] ?? -1) >= window[1];

const isWholeTo = (lastSeq: number, { lostPackets, listener, window }: PlacedReceipt): boolean =>
  lostPackets === 0 && listener.receivedPackets > 0 && window[1] >= lastSeq;
