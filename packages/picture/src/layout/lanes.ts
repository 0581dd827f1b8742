import { LABEL_GAP, NODE_RADIUS } from "./delta-block.ts";
import type { DeltaLayout, NodePlace } from "./delta-place.ts";
import type { SiteTree, TreeNode } from "./site-tree.ts";

/** The ground that one VLAN stands on, with what hangs below its routers upon it. Layout coordinates. */
export interface Lane {
  readonly vlan: number;
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  /** Lanes that it lies on. */
  readonly depth: number;
}

const PAD = 10;
/** Room for the lane's name above its first switch. */
const HEAD = 22;
const BELOW = 14;

/**
 * A lane for each VLAN wherever the tree enters it, the outer ones first. Pure.
 * @param nameWidth of a name as it is written beside its node
 */
export function lanesOf(tree: SiteTree, layout: DeltaLayout, nameWidth: (name: string) => number): readonly Lane[] {
  const lanes: Lane[] = [];
  const visit = (node: TreeNode, around: number | null, depth: number): void => {
    const isNew = node.vlan !== null && node.vlan !== around;
    if (isNew && layout.places.has(node.node.name)) lanes.push(laneFrom(node, depth, layout, nameWidth));
    for (const child of node.children) visit(child, node.vlan ?? around, isNew ? depth + 1 : depth);
  };
  for (const root of [tree.root, ...tree.apart]) visit(root, null, 0);
  return lanes;
}

function laneFrom(top: TreeNode, depth: number, layout: DeltaLayout, nameWidth: (name: string) => number): Lane {
  let [left, right, upper, lower] = [Infinity, -Infinity, Infinity, -Infinity];
  const visit = (node: TreeNode, lanesWithin: number): void => {
    const place = layout.places.get(node.node.name);
    if (place !== undefined) {
      const [from, to] = reach(place, nameWidth);
      left = Math.min(left, from - lanesWithin * PAD);
      right = Math.max(right, to + lanesWithin * PAD);
      upper = Math.min(upper, place.y);
      lower = Math.max(lower, place.y + lanesWithin * BELOW * 0.5);
    }
    for (const child of node.children) {
      visit(child, child.vlan !== null && node.vlan === null ? lanesWithin + 1 : lanesWithin);
    }
  };
  visit(top, 0);
  const y = upper - NODE_RADIUS - HEAD;
  return {
    vlan: top.vlan ?? 0,
    x: left - PAD,
    y,
    width: right - left + 2 * PAD,
    height: lower + NODE_RADIUS + BELOW - y,
    depth,
  };
}

function reach({ x, name, label }: NodePlace, nameWidth: (name: string) => number): readonly [number, number] {
  const text = NODE_RADIUS + LABEL_GAP + nameWidth(name);
  return label === "left" ? [x - text, x + NODE_RADIUS] : [x - NODE_RADIUS, x + text];
}
