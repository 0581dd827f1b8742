import { type Block, connect, FIRST_ROW, LABEL_GAP, labelOf, NODE_RADIUS, placeAt, ROW, wayTo } from "./delta-block.ts";
import type { DeltaOptions, NodePlace, Polyline } from "./delta-place.ts";
import type { TreeNode } from "./site-tree.ts";

const INDENT = 40;

/** Every name on the right of one channel, as deep as it is far from the source. */
export function oneBank(tree: TreeNode, options: DeltaOptions): Block {
  const { folded } = options;
  const own = placeAt(tree, "right", folded);
  const children = folded.has(tree.node.name) ? [] : tree.children;
  const places: NodePlace[] = [];
  let right = NODE_RADIUS + LABEL_GAP + options.measure(labelOf(tree, folded));
  let y = 0;
  let lastEntry = 0;
  for (const child of children) {
    const block = oneBank(child, options);
    y += y === 0 ? FIRST_ROW + 4 : ROW + 6;
    places.push(...connect(block, INDENT, y, wayTo(INDENT, y, y)));
    right = Math.max(right, INDENT + block.right);
    lastEntry = y;
    y += block.height;
  }
  const header: Polyline[] =
    lastEntry === 0
      ? []
      : [
          [
            [0, 0],
            [0, lastEntry],
          ],
        ];
  return { places: [{ ...own, header }, ...places], left: NODE_RADIUS, right, height: y };
}
