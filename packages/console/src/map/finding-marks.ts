import { planPlace } from "@dyetrace/site";
import { type FindingGlyph, findingKindFacts, type RunReport } from "@dyetrace/wire";
import type { SiteTree } from "./layout/site-tree.ts";

export interface FindingMark {
  /** Position in the report's list. */
  readonly index: number;
  readonly glyph: FindingGlyph;
  /** The word on the flag. */
  readonly word: string;
  /** Where the flag stands: the channel that leads to this node, or the node itself. */
  readonly node: string;
  readonly on: "channel" | "node";
  /** Every suspect that this tree can show, the flagged one included. */
  readonly suspects: readonly { readonly node: string; readonly on: "channel" | "node" }[];
}

type Finding = RunReport["findings"][number];

/** The findings of a run that concern any of the streams and name a place on this tree. */
export function findingMarks(report: RunReport, streams: ReadonlySet<string>, tree: SiteTree): readonly FindingMark[] {
  return report.findings.flatMap((finding, index): FindingMark[] => {
    if (finding.streams.length > 0 && !finding.streams.some((stream) => streams.has(stream))) return [];
    const suspects = finding.suspects.flatMap((suspect) => placeOf(suspect, tree) ?? []);
    // A link whose way down is suspected carries the flag; failing that the most likely suspect that can be shown.
    const chief = suspects.find((suspect) => suspect.isDownstream) ?? suspects[0];
    if (chief === undefined) return [];
    const shown = suspects.map(({ node, on }) => ({ node, on }));
    return [{ index, glyph: glyphOf(finding), word: wordOf(finding), node: chief.node, on: chief.on, suspects: shown }];
  });
}

function placeOf(
  suspect: string,
  tree: SiteTree,
): { readonly node: string; readonly on: "channel" | "node"; readonly isDownstream: boolean } | null {
  // A VLAN on a trunk is drawn where the trunk is.
  const place = planPlace(suspect);
  const lower = tree.lowerEnd.get(place);
  if (lower !== undefined) return { node: lower.node.name, on: "channel", isDownstream: lower.segmentId === place };
  return tree.byName.has(place) ? { node: place, on: "node", isDownstream: false } : null;
}

/** A stored report may have kinds of another version: those are in doubt rather than anything worse. */
export const glyphOf = ({ kind }: Finding): FindingGlyph => findingKindFacts(kind).glyph;

export const wordOf = ({ kind }: Finding): string => findingKindFacts(kind).label.toUpperCase();
