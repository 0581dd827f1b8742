import type { LinkSegment, SiteGraph } from "@dyetrace/site";
import { type Markup, markup } from "./markup.ts";
import { drawSiteTree } from "./site-tree.ts";

/** What a place on the map bears beside its name. */
export interface MapMark {
  /** The findings' numbers, as `1, 3`. */
  readonly findings: string;
  readonly words: string;
}

export interface MapFacts {
  /** By segment id or node name. */
  readonly marks: ReadonlyMap<string, MapMark>;
  /** What stands under a host's name, such as `no loss`. */
  readonly notes: ReadonlyMap<string, string>;
}

const COLUMN = 190;
const ROW = 46;
const BOX = { width: 128, height: 32 } as const;
const MARGIN = 12;

interface Placed {
  readonly node: string;
  readonly segment: LinkSegment | null;
  readonly x: number;
  readonly y: number;
}

/** The site as an SVG tree from one node, left to right. A meaning is never carried by colour alone. */
export function drawSiteMap(graph: SiteGraph, root: string, { marks, notes }: MapFacts): Markup {
  const placed = layOut(graph, root);
  const at = new Map(placed.map((one) => [one.node, one]));
  const width = Math.max(...placed.map(({ x }) => x)) + BOX.width + MARGIN;
  const height = Math.max(...placed.map(({ y }) => y)) + BOX.height + MARGIN + 10;
  const onTree = new Set(placed.flatMap(({ segment }) => (segment === null ? [] : [segment.link])));
  const others = graph.links.filter((link) => !onTree.has(link));
  return markup`<svg class="map" viewBox="0 0 ${width} ${height}" style="max-width:${width}px" role="img" aria-label="Site map">
${others.map((link) => {
  const [a, b] = [at.get(link.a.node), at.get(link.b.node)];
  return a === undefined || b === undefined ? null : drawLink(a, b, "link spare");
})}
${placed.map((child) => {
  const parent = child.segment === null ? undefined : at.get(child.segment.from.node);
  if (parent === undefined || child.segment === null) return null;
  const back = `${child.segment.id.split(">")[1]}>${child.segment.id.split(">")[0]}`;
  const mark = marks.get(child.segment.id) ?? marks.get(back);
  return [
    drawLink(parent, child, mark === undefined ? "link" : "link marked"),
    mark === undefined ? null : drawBadge((parent.x + BOX.width + child.x) / 2, child.y + BOX.height / 2, mark),
  ];
})}
${placed.map(({ node, x, y }) => {
  const mark = marks.get(node);
  const kind = graph.nodes.get(node)?.kind ?? "host";
  return markup`<g class="node ${kind}${mark === undefined ? "" : " marked"}"><title>${node} (${kind})</title>
<rect x="${x}" y="${y}" width="${BOX.width}" height="${BOX.height}" rx="${kind === "host" ? 4 : 14}"/>
<text x="${x + BOX.width / 2}" y="${y + (notes.has(node) ? 14 : 20)}">${shorten(node, 18)}</text>
<text class="note" x="${x + BOX.width / 2}" y="${y + 26}">${notes.get(node)}</text></g>
${mark === undefined ? null : drawBadge(x + 4, y, mark)}`;
})}
</svg>`;
}

/** Depth gives the column; leaves take a row each and parents stand in the middle of their children. */
function layOut(graph: SiteGraph, root: string): readonly Placed[] {
  const lines = drawSiteTree(graph, root);
  const children = new Map<string, string[]>();
  for (const { node, segment } of lines) {
    if (segment !== null) children.set(segment.from.node, [...(children.get(segment.from.node) ?? []), node]);
  }
  const rowOf = new Map<string, number>();
  let nextRow = 0;
  const place = (node: string): number => {
    const rows = (children.get(node) ?? []).map(place);
    const row = rows.length === 0 ? nextRow++ : (Math.min(...rows) + Math.max(...rows)) / 2;
    rowOf.set(node, row);
    return row;
  };
  place(root);
  const depthOf = new Map<string, number>([[root, 0]]);
  return lines.map(({ node, segment }) => {
    const depth = segment === null ? 0 : (depthOf.get(segment.from.node) ?? 0) + 1;
    depthOf.set(node, depth);
    return { node, segment, x: MARGIN + depth * COLUMN, y: MARGIN + (rowOf.get(node) ?? 0) * ROW };
  });
}

function drawLink(from: Placed, to: Placed, className: string): Markup {
  const [x1, y1] = [from.x + BOX.width, from.y + BOX.height / 2];
  const [x2, y2] = [to.x, to.y + BOX.height / 2];
  const middle = (x1 + x2) / 2;
  return markup`<path class="${className}" d="M${x1} ${y1} C${middle} ${y1} ${middle} ${y2} ${x2} ${y2}"/>`;
}

function drawBadge(x: number, y: number, mark: MapMark): Markup {
  const width = 10 + mark.findings.length * 7;
  return markup`<g class="badge"><title>${mark.words}</title><rect x="${x - width / 2}" y="${y - 9}" width="${width}" height="18" rx="9"/>
<text x="${x}" y="${y + 4}">${mark.findings}</text></g>`;
}

const shorten = (text: string, most: number): string => (text.length <= most ? text : `${text.slice(0, most - 1)}…`);
