import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import type { Channel } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { hostClass } from "./host-class.ts";
import type { SiteScene } from "./site-scene.ts";

/** Sites with more nodes are drawn with what is quiet folded up, and with hosts of one switch put together. */
export const GROUPED_FROM_NODES = 60;

/** So many hosts of one switch that got the same stand as one. */
const LEAST_ALIKE = 4;

export interface GroupedSite {
  readonly tree: SiteTree;
  readonly scene: SiteScene;
}

/** Which hosts are drawn at all. */
export type HostFilter = "everything" | "listeners" | "trouble";

/**
 * The tree with hosts of one switch that got the same put together as one outlet, and without those that the filter keeps
 * out. Pure.
 * @param kept names that stay single: what is selected, searched for or under suspicion
 * @param opened switches whose hosts all stay single
 * @param isGrouping false: only the filter acts
 */
export function groupHosts(
  tree: SiteTree,
  scene: SiteScene,
  options: {
    readonly kept: ReadonlySet<string>;
    readonly opened: ReadonlySet<string>;
    readonly filter: HostFilter;
    readonly isGrouping: boolean;
  },
): GroupedSite {
  const { kept, opened, filter, isGrouping } = options;
  if (!isGrouping && filter === "everything") return { tree, scene };
  const byName = new Map<string, TreeNode>();
  const hosts = new Map(scene.hosts);
  const channels = new Map(scene.channels);
  const waterOf = (name: string): HostWater | null => scene.hosts.get(name) ?? null;
  const isWanted = ({ node }: TreeNode): boolean => {
    if (filter === "everything" || kept.has(node.name)) return true;
    const water = waterOf(node.name);
    return filter === "listeners" ? water !== null : hostClass(water).isTrouble || water?.kind === "source";
  };
  const visit = (node: TreeNode): TreeNode | null => {
    const below = node.children.filter(({ children }) => children.length > 0).flatMap((child) => visit(child) ?? []);
    const leaves = node.children.filter((child) => child.children.length === 0 && isLeafWanted(child));
    const grouped = isGrouping && !opened.has(node.node.name) ? together(node, leaves) : leaves;
    for (const leaf of grouped) byName.set(leaf.node.name, leaf);
    const isEmpty = node.children.length > 0 && below.length + grouped.length === 0;
    if (isEmpty && filter !== "everything" && node.parent !== null && !kept.has(node.node.name)) return null;
    const outlets = grouped.reduce((sum, { group }) => sum + (group?.hosts.length ?? 1), 0);
    const size = below.reduce((sum, child) => sum + 1 + child.size, outlets);
    const drawn: TreeNode = { ...node, children: [...grouped, ...below], size };
    byName.set(node.node.name, drawn);
    return drawn;
  };
  const isLeafWanted = (leaf: TreeNode): boolean =>
    leaf.node.kind === "host" ? isWanted(leaf) : filter === "everything" || kept.has(leaf.node.name);
  const together = (above: TreeNode, leaves: readonly TreeNode[]): readonly TreeNode[] => {
    const alike = new Map<string, TreeNode[]>();
    const single: TreeNode[] = [];
    for (const leaf of leaves) {
      const { name, kind } = leaf.node;
      const { key } = hostClass(waterOf(name));
      if (kind !== "host" || kept.has(name) || key === "source") single.push(leaf);
      else alike.set(key, [...(alike.get(key) ?? []), leaf]);
    }
    const groups = [...alike].flatMap(([key, members]): TreeNode[] => {
      const worstFirst = members.toSorted((a, b) => lossOf(waterOf(b.node.name)) - lossOf(waterOf(a.node.name)));
      const [worst] = worstFirst;
      if (members.length < LEAST_ALIKE || worst === undefined) return members;
      const name = `${above.node.name} ${key}`;
      const water = waterOf(worst.node.name);
      if (water !== null) hosts.set(name, water);
      const channel: Channel | undefined = scene.channels.get(worst.node.name);
      if (channel !== undefined) channels.set(name, channel);
      const of = hostClass(water);
      return [
        {
          ...worst,
          node: { name, kind: "host", isQuerier: false, agent: null },
          segmentId: null,
          reverseId: null,
          group: { hosts: members.map(({ node }) => node.name), words: of.words },
        },
      ];
    });
    const rank = ({ node }: TreeNode): number => hostClass(hosts.get(node.name) ?? null).rank;
    return [...single, ...groups].toSorted((a, b) => rank(a) - rank(b));
  };
  const root = visit(tree.root) ?? tree.root;
  const apart = tree.apart.flatMap((one) => visit(one) ?? []);
  return { tree: { ...tree, root, apart, byName }, scene: { ...scene, hosts, channels } };
}

const lossOf = (water: HostWater | null): number => (water?.kind === "thins" ? (water.lossRatio ?? 0) : 0);
