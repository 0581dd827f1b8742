import type { SiteTree, TreeNode } from "./site-tree.ts";

/**
 * Lays a site out as an irrigation channel: the source at the head, water running down. A switch stands at the head of
 * its own channel; hosts are outlets on both sides of it, further switches hang below from a cross channel, or, where
 * that would grow too wide, stand in rows along the channel. Pure geometry; units are pixels at scale 1.
 */
export interface DeltaLayout {
  readonly places: ReadonlyMap<string, NodePlace>;
  readonly width: number;
  readonly height: number;
}

export interface NodePlace {
  readonly name: string;
  readonly x: number;
  readonly y: number;
  /** Where the name is written, seen from the node. */
  readonly label: "right" | "left";
  /** Polylines of the node's own channel, from the node outwards: water that has passed the node. */
  readonly header: readonly Polyline[];
  /** The way along the parent's own channel to where `inlet` begins; empty for the root. */
  readonly approach: Polyline;
  /** The segment from the parent's channel to this node; empty for the root. */
  readonly inlet: Polyline;
  /** Nodes hidden below because this one is folded up. */
  readonly foldedNodes: number;
}

export type Point = readonly [x: number, y: number];
export type Polyline = readonly Point[];

export interface DeltaOptions {
  /** The space to fill: decides how switches are arranged. */
  readonly width: number;
  readonly height: number;
  /** Nodes whose subtree is folded up. */
  readonly folded: ReadonlySet<string>;
  /** Width of a name in pixels. */
  readonly measure: (name: string) => number;
}

/** Narrower than this, everything runs down one bank so that names stay readable. */
const ONE_BANK_BELOW = 640;
const ROW = 30;
const OUTLET = 54;
const FEED = 40;
const NODE_RADIUS = 11;
const LABEL_GAP = 8;
const FIRST_ROW = 34;
const DROP = 66;
const BLOCK_GAP = 34;
const ROW_GAP = 30;
const MARGIN = 28;

export function layOutDelta(tree: SiteTree, options: DeltaOptions): DeltaLayout {
  if (options.width < ONE_BANK_BELOW) return finish(oneBank(tree.root, options));
  // More than this many switches below one stand in rows: the smallest picture for the space at hand wins.
  const candidates = [99, 8, 6, 4, 3, 2, 1].map((most) => twoBanks(tree.root, options, most));
  const fit = (block: Block): number =>
    Math.min(options.width / (block.left + block.right), options.height / block.height);
  return finish(candidates.reduce((best, one) => (fit(one) > fit(best) * 1.02 ? one : best)));
}

/** A subtree laid out with its own node at 0, 0. */
interface Block {
  readonly places: readonly NodePlace[];
  /** Extents from the node: to the left and right (both positive), and down. */
  readonly left: number;
  readonly right: number;
  readonly height: number;
}

const isBranch = (child: TreeNode, folded: ReadonlySet<string>): boolean =>
  child.children.length > 0 && !folded.has(child.node.name);

function leafBlock(child: TreeNode, side: "left" | "right", options: DeltaOptions): Block {
  const reach = NODE_RADIUS + LABEL_GAP + options.measure(labelOf(child, options.folded));
  const place = placeAt(child, side, options.folded);
  const near = NODE_RADIUS;
  return {
    places: [place],
    left: side === "left" ? reach : near,
    right: side === "right" ? reach : near,
    height: ROW / 2,
  };
}

const labelOf = ({ node, size }: TreeNode, folded: ReadonlySet<string>): string =>
  folded.has(node.name) && size > 0 ? `${node.name} +${size}` : node.name;

const placeAt = (tree: TreeNode, label: "left" | "right", folded: ReadonlySet<string>): NodePlace => ({
  name: tree.node.name,
  x: 0,
  y: 0,
  label,
  header: [],
  approach: [],
  inlet: [],
  foldedNodes: folded.has(tree.node.name) ? tree.size : 0,
});

function move(block: Block, dx: number, dy: number): readonly NodePlace[] {
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
function connect(block: Block, dx: number, dy: number, way: Way): readonly NodePlace[] {
  const [own, ...rest] = move(block, dx, dy);
  return own === undefined ? [] : [{ ...own, ...way }, ...rest];
}

/** From a node at 0, 0 to one below it. */
type Way = Pick<NodePlace, "approach" | "inlet">;

/** Down the channel to `entryY`, along a cross channel to `entryX`, and from there straight to the node. */
const wayTo = (x: number, y: number, entryY: number, entryX = 0): Way => ({
  approach: [[0, 0], [0, entryY], ...(entryX === 0 ? [] : [[entryX, entryY] as const])],
  inlet: [
    [entryX, entryY],
    [x, y],
  ],
});

/**
 * @param most switches below one that may stand side by side
 * @param label the side that the way in does not come from
 */
function twoBanks(tree: TreeNode, options: DeltaOptions, most: number, label: "left" | "right" = "right"): Block {
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
  const header: Polyline[] = [];
  const labelReach = NODE_RADIUS + LABEL_GAP + options.measure(tree.node.name);
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
    if (y > 0)
      header.push([
        [0, 0],
        [0, y],
      ]);
    return { places: [{ ...own, header }, ...places], left, right, height: y + ROW / 2 };
  }

  if (!isInRows) {
    const crossY = branches.length === 1 ? y : y + (leaves.length === 0 ? FIRST_ROW : ROW);
    const widths = branches.map((block) => block.left + block.right);
    const span = widths.reduce((sum, width) => sum + width, 0) + BLOCK_GAP * (branches.length - 1);
    // Hang them so that the outermost entries are equally far from the channel.
    const entries: number[] = [];
    let x = 0;
    for (const [index, block] of branches.entries()) {
      entries.push(x + block.left);
      x += (widths[index] ?? 0) + BLOCK_GAP;
    }
    const middle = ((entries[0] ?? 0) + (entries.at(-1) ?? 0)) / 2;
    const childY = crossY + DROP;
    let height = 0;
    for (const [index, block] of branches.entries()) {
      const entryX = (entries[index] ?? 0) - middle;
      places.push(...connect(block, entryX, childY, wayTo(entryX, childY, crossY, entryX)));
      height = Math.max(height, childY + block.height);
    }
    header.push([
      [0, 0],
      [0, crossY],
    ]);
    const firstX = (entries[0] ?? 0) - middle;
    const lastX = (entries.at(-1) ?? 0) - middle;
    if (firstX < 0)
      header.push([
        [0, crossY],
        [firstX, crossY],
      ]);
    if (lastX > 0)
      header.push([
        [0, crossY],
        [lastX, crossY],
      ]);
    return {
      places: [{ ...own, header }, ...places],
      left: Math.max(left, middle),
      right: Math.max(right, span - middle),
      height,
    };
  }

  // In rows along the channel, two to a row.
  let rowTop = y + (leaves.length === 0 ? FIRST_ROW : ROW) + 6;
  let lastEntry = y;
  let height = y;
  for (const [index, block] of branches.entries()) {
    if (lone !== undefined && index === branches.length - 1) {
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
  header.push([
    [0, 0],
    [0, lastEntry],
  ]);
  return { places: [{ ...own, header }, ...places], left, right, height };
}

const INDENT = 40;

/** Every name on the right of one channel, as deep as it is far from the source. */
function oneBank(tree: TreeNode, options: DeltaOptions): Block {
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

function finish(block: Block): DeltaLayout {
  const placed = move(block, block.left + MARGIN, MARGIN);
  return {
    places: new Map(placed.map((place) => [place.name, place])),
    width: block.left + block.right + 2 * MARGIN,
    height: block.height + 2 * MARGIN,
  };
}
