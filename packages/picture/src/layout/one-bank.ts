import {
  type Block,
  connect,
  FIRST_ROW,
  LABEL_GAP,
  labelWidthOf,
  NODE_RADIUS,
  placeAt,
  ROW,
  wayTo,
} from "./delta-block.ts";
import type { DeltaOptions, NodePlace, Polyline } from "./delta-place.ts";
import type { TreeNode } from "./site-tree.ts";

/** Between a router and the first switch of the VLAN that it leads into: the name of its lane. */
const LANE_HEAD = 16;
const LANE_FOOT = 6;

/**
 * Every name on the right of one channel, as deep as it is far from the source.
 * @param indent pixels from one level to the next
 */
export function oneBank(tree: TreeNode, options: DeltaOptions, indent: number): Block {
  const { folded } = options;
  const own = placeAt(tree, "right", folded);
  const children = folded.has(tree.node.name) ? [] : tree.children;
  const places: NodePlace[] = [];
  let right = NODE_RADIUS + LABEL_GAP + labelWidthOf(tree, options);
  let y = 0;
  let lastEntry = 0;
  for (const child of children) {
    const block = oneBank(child, options, indent);
    const isLane = tree.vlan === null && child.vlan !== null;
    y += (y === 0 ? FIRST_ROW + 4 : ROW + 6) + (isLane ? LANE_HEAD : 0);
    places.push(...connect(block, indent, y, wayTo(indent, y, y)));
    right = Math.max(right, indent + block.right);
    lastEntry = y;
    y += block.height + (isLane ? LANE_FOOT : 0);
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
