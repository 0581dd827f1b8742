import { type FindingGlyph, findingKindFacts, type RunReport } from "@dyetrace/wire";
import type { SiteTree } from "../layout/site-tree.ts";
import { type Channel, type ChannelWater, isWet } from "./channel-water.ts";

/** A channel, by the node at its lower end, or the node itself. */
export interface MarkedPlace {
  readonly node: string;
  readonly on: "channel" | "node";
}

export interface FindingMark extends MarkedPlace {
  /** Position in the report's list. */
  readonly index: number;
  readonly glyph: FindingGlyph;
  /** The word on the flag, which stands at `node`. */
  readonly word: string;
  /** Channels that its shape is drawn on: several where VLANs share the place, none where it is a host's own. */
  readonly drawnOn: readonly string[];
  /** Channels that the stream still comes through on its way to those. */
  readonly carrying: readonly string[];
  /** Every suspect that this tree can show, the flagged one included. */
  readonly suspects: readonly MarkedPlace[];
}

type Finding = RunReport["findings"][number];

/**
 * The findings of a run that concern any of the streams and name a place on this tree.
 * @param channels what is in each channel, for a bar never stands in front of dye
 */
export function findingMarks(
  report: RunReport,
  streams: ReadonlySet<string>,
  tree: SiteTree,
  channels: ReadonlyMap<string, Channel>,
): readonly FindingMark[] {
  return report.findings.flatMap((finding, index): FindingMark[] => {
    if (finding.streams.length > 0 && !finding.streams.some((stream) => streams.has(stream))) return [];
    const named = finding.suspects.map((suspect) => placesAt(suspect, tree)).filter((places) => places.length > 0);
    // A link whose way down is suspected carries the flag; failing that the most likely suspect that can be shown.
    const chief = named.find(([place]) => place?.isDownstream) ?? named[0];
    if (chief === undefined) return [];
    const suspects = named.flat().map(({ node, on }) => ({ node, on }));
    const glyph = glyphOf(finding);
    const shape = shapePlaces(chief, glyph, suspects, tree, channels);
    const [drawn] = shape.drawnOn;
    const flag = drawn === undefined || chief[0]?.on === "node" ? chief[0] : { node: drawn, on: "channel" as const };
    if (flag === undefined) return [];
    return [{ index, glyph, word: wordOf(finding), node: flag.node, on: flag.on, ...shape, suspects }];
  });
}

interface PlaceAt extends MarkedPlace {
  readonly isDownstream: boolean;
}

/** Where a suspect stands on the tree: of a trunk that VLANs share, and that is suspected whole, in each of them. */
function placesAt(suspect: string, tree: SiteTree): readonly PlaceAt[] {
  return tree.placesOf(suspect).flatMap((place): PlaceAt[] => {
    const lower = tree.lowerEnd.get(place);
    if (lower !== undefined) {
      return [{ node: lower.node.name, on: "channel", isDownstream: lower.segmentId === place }];
    }
    return tree.byName.has(place) ? [{ node: place, on: "node", isDownstream: false }] : [];
  });
}

/**
 * What stops or thins out is drawn where the water is so: below a place that other listeners get everything through, it is
 * where theirs first lacks.
 */
function shapePlaces(
  chief: readonly PlaceAt[],
  glyph: FindingGlyph,
  suspects: readonly MarkedPlace[],
  tree: SiteTree,
  channels: ReadonlyMap<string, Channel>,
): Pick<FindingMark, "drawnOn" | "carrying"> {
  if (glyph !== "stop" && glyph !== "thin") {
    return { drawnOn: chief.filter(({ on }) => on === "channel").map(({ node }) => node), carrying: [] };
  }
  const waterOf = (name: string): ChannelWater => channels.get(name)?.water ?? "closed";
  const suspected = new Set(suspects.flatMap(({ node, on }) => (on === "channel" ? [node] : [])));
  const topmost = (name: string): string => {
    const parent = tree.byName.get(name)?.parent ?? null;
    return parent !== null && waterOf(parent) === "dry" && suspected.has(parent) ? topmost(parent) : name;
  };
  const lacking = (name: string): readonly string[] => {
    const node = tree.byName.get(name);
    if (node === undefined) return [];
    const water = waterOf(name);
    if (node.parent !== null && LACKS[glyph].has(water)) return [name];
    return water === "closed" || water === "still" ? [] : node.children.flatMap((child) => lacking(child.node.name));
  };
  const drawnOn = [
    ...new Set(
      chief.flatMap(({ node, on }) =>
        on === "node" && tree.byName.get(node)?.node.kind === "host" ? [] : lacking(node).map(topmost),
      ),
    ),
  ];
  const above = (name: string): readonly string[] => {
    const parent = tree.byName.get(name)?.parent ?? null;
    return parent === null || isWet(waterOf(parent)) ? [] : [parent, ...above(parent)];
  };
  return {
    drawnOn,
    carrying: glyph === "stop" ? drawnOn.flatMap(above).filter((name) => waterOf(name) === "dry") : [],
  };
}

const LACKS: Readonly<Record<"stop" | "thin", ReadonlySet<ChannelWater>>> = {
  stop: new Set(["dry", "thins", "breaks"]),
  thin: new Set(["thins", "breaks", "dry"]),
};

/** A stored report may have kinds of another version: those are in doubt rather than anything worse. */
export const glyphOf = ({ kind }: Finding): FindingGlyph => findingKindFacts(kind).glyph;

export const wordOf = ({ kind }: Finding): string => findingKindFacts(kind).label.toUpperCase();
