import {
  type Block,
  connect,
  FIRST_ROW,
  isBranch,
  LABEL_GAP,
  labelWidthOf,
  leafBlock,
  NODE_RADIUS,
  placeAt,
  ROW,
  wayTo,
} from "./delta-block.ts";
import type { DeltaOptions, NodePlace, Polyline } from "./delta-place.ts";
import type { TreeNode } from "./site-tree.ts";

const OUTLET = 54;
const FEED = 40;
const DROP = 66;
const BLOCK_GAP = 34;
const ROW_GAP = 30;

/**
 * Outlets on both sides of the channel, and below them the further switches.
 * @param most switches below one that may stand side by side
 * @param label the side that the way in does not come from
 */
export function twoBanks(
  tree: TreeNode,
  options: DeltaOptions,
  most: number,
  label: "left" | "right" = "right",
): Block {
  const { folded } = options;
  const own = placeAt(tree, label, folded);
  const children = folded.has(tree.node.name) ? [] : tree.children;
  const leaves = children.filter((child) => !isBranch(child, folded));
  const below = children.filter((child) => isBranch(child, folded));
  const isInRows = below.length > most;
  // In rows the odd one out hangs from the end of the channel, and the others are fed from the side.
  const lone = isInRows && below.length % 2 === 1 ? below.at(-1) : undefined;
  const branches = below.map((child, index) =>
    twoBanks(child, options, most, isInRows && child !== lone && index % 2 === 0 ? "left" : "right"),
  );
  const places: NodePlace[] = [];
  const labelReach = NODE_RADIUS + LABEL_GAP + labelWidthOf(tree, options);
  let left = label === "left" ? labelReach : NODE_RADIUS;
  let right = label === "right" ? labelReach : NODE_RADIUS;
  let y = 0;

  // Outlets in pairs, the first on the left, so that the node's own name on its right has room.
  for (const [index, leaf] of leaves.entries()) {
    const side = index % 2 === 0 ? "left" : "right";
    const sign = side === "left" ? -1 : 1;
    const rowY = FIRST_ROW + Math.floor(index / 2) * ROW;
    const block = leafBlock(leaf, side, options);
    places.push(...connect(block, sign * OUTLET, rowY, wayTo(sign * OUTLET, rowY, rowY)));
    if (side === "left") left = Math.max(left, OUTLET + block.left);
    else right = Math.max(right, OUTLET + block.right);
    y = rowY;
  }
  if (branches.length === 0) {
    return { places: [{ ...own, header: y > 0 ? [down(y)] : [] }, ...places], left, right, height: y + ROW / 2 };
  }
  const outlets = { left, right, y, isEmpty: leaves.length === 0 };
  const hung = isInRows ? standInRows(branches, lone !== undefined, outlets) : hangSideBySide(branches, outlets);
  return {
    places: [{ ...own, header: hung.header }, ...places, ...hung.places],
    left: hung.left,
    right: hung.right,
    height: hung.height,
  };
}

/** The outlets that stand above the switches: how far they reach, and where the last pair stands. */
interface Outlets {
  readonly left: number;
  readonly right: number;
  readonly y: number;
  readonly isEmpty: boolean;
}

/** The switches below, with the channel that feeds them. */
type Hung = Block & { readonly header: readonly Polyline[] };

/** Side by side below a cross channel, so that the outermost entries are equally far from the channel. */
function hangSideBySide(branches: readonly Block[], { left, right, y, isEmpty }: Outlets): Hung {
  const crossY = branches.length === 1 ? y : y + (isEmpty ? FIRST_ROW : ROW);
  const widths = branches.map((block) => block.left + block.right);
  const span = widths.reduce((sum, width) => sum + width, 0) + BLOCK_GAP * (branches.length - 1);
  const entries: number[] = [];
  let x = 0;
  for (const [index, block] of branches.entries()) {
    entries.push(x + block.left);
    x += (widths[index] ?? 0) + BLOCK_GAP;
  }
  const middle = ((entries[0] ?? 0) + (entries.at(-1) ?? 0)) / 2;
  const childY = crossY + DROP;
  const places: NodePlace[] = [];
  let height = 0;
  for (const [index, block] of branches.entries()) {
    const entryX = (entries[index] ?? 0) - middle;
    places.push(...connect(block, entryX, childY, wayTo(entryX, childY, crossY, entryX)));
    height = Math.max(height, childY + block.height);
  }
  const firstX = (entries[0] ?? 0) - middle;
  const lastX = (entries.at(-1) ?? 0) - middle;
  const cross = (toX: number): Polyline => [
    [0, crossY],
    [toX, crossY],
  ];
  const header = [down(crossY), ...(firstX < 0 ? [cross(firstX)] : []), ...(lastX > 0 ? [cross(lastX)] : [])];
  return { places, header, left: Math.max(left, middle), right: Math.max(right, span - middle), height };
}

/** In rows along the channel, two to a row. @param hasLone the last one hangs from the end of the channel */
function standInRows(branches: readonly Block[], hasLone: boolean, outlets: Outlets): Hung {
  const places: NodePlace[] = [];
  let { left, right } = outlets;
  let rowTop = outlets.y + (outlets.isEmpty ? FIRST_ROW : ROW) + 6;
  let lastEntry = outlets.y;
  let height = outlets.y;
  for (const [index, block] of branches.entries()) {
    if (hasLone && index === branches.length - 1) {
      const childY = rowTop + DROP - ROW_GAP;
      places.push(...connect(block, 0, childY, wayTo(0, childY, lastEntry)));
      left = Math.max(left, block.left);
      right = Math.max(right, block.right);
      height = childY + block.height;
      break;
    }
    const sign = index % 2 === 0 ? -1 : 1;
    const toNode = FEED + (sign < 0 ? block.right : block.left);
    places.push(...connect(block, sign * toNode, rowTop, wayTo(sign * toNode, rowTop, rowTop)));
    if (sign < 0) left = Math.max(left, toNode + block.left);
    else right = Math.max(right, toNode + block.right);
    lastEntry = rowTop;
    height = Math.max(height, rowTop + block.height);
    if (sign > 0) rowTop = height + ROW_GAP;
  }
  return { places, header: [down(lastEntry)], left, right, height };
}

/** The node's own channel, from the node to that depth. */
const down = (toY: number): Polyline => [
  [0, 0],
  [0, toY],
];
