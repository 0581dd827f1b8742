import type { SiteTree } from "./site-tree.ts";

/** The node of that name, else the first whose name begins with the text, else the first that has it somewhere. */
export function findNode(tree: SiteTree, text: string): string | null {
  const wanted = text.trim().toLowerCase();
  if (wanted === "") return null;
  const names = [...tree.byName.keys()];
  return (
    names.find((name) => name.toLowerCase() === wanted) ??
    names.find((name) => name.toLowerCase().startsWith(wanted)) ??
    names.find((name) => name.toLowerCase().includes(wanted)) ??
    null
  );
}

/** @returns the nodes between one and the root, nearest first */
export function nodesAbove(tree: SiteTree, name: string): readonly string[] {
  const parent = tree.byName.get(name)?.parent ?? null;
  return parent === null ? [] : [parent, ...nodesAbove(tree, parent)];
}
