import type { DeltaOptions, NodePlace, Polyline } from "./delta-place.ts";
import type { TreeNode } from "./site-tree.ts";

export const ROW = 30;
export const NODE_RADIUS = 11;
export const LABEL_GAP = 8;
export const FIRST_ROW = 34;

/** A subtree laid out with its own node at 0, 0. */
export interface Block {
  readonly places: readonly NodePlace[];
  /** Extents from the node: to the left and right (both positive), and down. */
  readonly left: number;
  readonly right: number;
  readonly height: number;
}

export const isBranch = (child: TreeNode, folded: ReadonlySet<string>): boolean =>
  child.children.length > 0 && !folded.has(child.node.name);

export function leafBlock(child: TreeNode, side: "left" | "right", options: DeltaOptions): Block {
  const reach = NODE_RADIUS + LABEL_GAP + labelWidthOf(child, options);
  const place = placeAt(child, side, options.folded);
  const near = NODE_RADIUS;
  return {
    places: [place],
    left: side === "left" ? reach : near,
    right: side === "right" ? reach : near,
    height: ROW / 2,
  };
}

const labelOf = ({ node, size, group }: TreeNode, folded: ReadonlySet<string>): string =>
  group !== undefined
    ? groupLabel(group.hosts.length)
    : folded.has(node.name) && size > 0
      ? `${node.name} +${size}`
      : node.name;

/** What stands beside an outlet that is several hosts. */
export const groupLabel = (hosts: number): string => `${hosts} hosts`;

/** Readings are written a little smaller than names. */
const READING_SIZE = 0.9;

/** Room that a place needs for its name and what stands below it, in pixels. */
export const labelWidthOf = (child: TreeNode, { folded, measure, readings }: DeltaOptions): number => {
  const reading = child.group?.words ?? readings?.get(child.node.name);
  return Math.max(measure(labelOf(child, folded)), reading === undefined ? 0 : measure(reading) * READING_SIZE);
};

export const placeAt = (tree: TreeNode, label: "left" | "right", folded: ReadonlySet<string>): NodePlace => ({
  name: tree.node.name,
  x: 0,
  y: 0,
  label,
  header: [],
  approach: [],
  inlet: [],
  foldedNodes: folded.has(tree.node.name) ? tree.size : 0,
});

export function move(block: Block, dx: number, dy: number): readonly NodePlace[] {
  const shift = (line: Polyline): Polyline => line.map(([x, y]) => [x + dx, y + dy]);
  return block.places.map((place) => ({
    ...place,
    x: place.x + dx,
    y: place.y + dy,
    header: place.header.map(shift),
    approach: shift(place.approach),
    inlet: shift(place.inlet),
  }));
}

/** The moved block with the way in to its own node, which is the first place. */
export function connect(block: Block, dx: number, dy: number, way: Way): readonly NodePlace[] {
  const [own, ...rest] = move(block, dx, dy);
  return own === undefined ? [] : [{ ...own, ...way }, ...rest];
}

/** From a node at 0, 0 to one below it. */
export type Way = Pick<NodePlace, "approach" | "inlet">;

/** Down the channel to `entryY`, along a cross channel to `entryX`, and from there straight to the node. */
export const wayTo = (x: number, y: number, entryY: number, entryX = 0): Way => ({
  approach: [[0, 0], [0, entryY], ...(entryX === 0 ? [] : [[entryX, entryY] as const])],
  inlet: [
    [entryX, entryY],
    [x, y],
  ],
});
