import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import { summariseHosts } from "./host-class.ts";
import type { SiteScene } from "./site-scene.ts";

/** What stands below the name of each folded node: what its hosts got. @param tree not grouped */
export function foldedWords(
  tree: SiteTree,
  { hosts }: SiteScene,
  folded: ReadonlySet<string>,
  quietWords?: string,
): ReadonlyMap<string, string> {
  const words = new Map<string, string>();
  const hostsBelow = (node: TreeNode): readonly TreeNode[] => [
    ...(node.node.kind === "host" ? [node] : []),
    ...node.children.flatMap(hostsBelow),
  ];
  for (const name of folded) {
    const node = tree.byName.get(name);
    if (node === undefined) continue;
    const below = node.children.flatMap(hostsBelow).map(({ node: { name: host } }) => hosts.get(host) ?? null);
    if (below.length > 0) words.set(name, summariseHosts(below, quietWords));
  }
  return words;
}
