import type { SiteTree } from "../layout/site-tree.ts";
import type { FindingMark } from "../water/finding-marks.ts";

/** What is folded up: what the user folded, and of the branches without a finding in them those that `quiet` says. */
export function foldedNodes(
  tree: SiteTree,
  chosen: ReadonlyMap<string, boolean>,
  quiet: "all" | "deep" | "none",
  marks: readonly FindingMark[],
): ReadonlySet<string> {
  const busy = new Set<string>();
  for (const mark of marks) {
    for (const { node } of mark.suspects) {
      for (let at: string | null = node; at !== null; at = tree.byName.get(at)?.parent ?? null) busy.add(at);
    }
  }
  const folded = new Set<string>();
  for (const [name, node] of tree.byName) {
    if (node.children.length === 0) continue;
    const isDeep = node.parent !== null && tree.byName.get(node.parent)?.parent !== null;
    const isFoldedAnyway = quiet === "all" || (quiet === "deep" && isDeep);
    if (chosen.get(name) ?? (isFoldedAnyway && !busy.has(name))) folded.add(name);
  }
  return folded;
}
