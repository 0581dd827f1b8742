import type { SiteIndex } from "../site/site-index.ts";

/**
 * What can fail, and which pairs of stream and listener it silences. Data flows on `a>b`, the membership reports for it
 * on `b>a`: if they are lost, `a` has no group state for that port, which looks the same.
 *
 * | kind       | place   | silences pairs                                                            |
 * |------------|---------|---------------------------------------------------------------------------|
 * | link       | segment | whose data crosses it                                                     |
 * | reports    | segment | whose reports cross it and are needed                                     |
 * | direction  | segment | both of these: everything on it is lost                                   |
 * | cable      | segment | whose data crosses it or its other direction                              |
 * | node       | node    | whose data passes it                                                      |
 * | sender     | host    | that it sends                                                             |
 * | receiver   | host    | that it receives                                                          |
 * | host       | host    | that it sends or receives                                                 |
 * | node-source | router | whose data passes it, of one source: its reverse-path check or a list fails it |
 * | node-any-source | router | whose data passes it, joined without a source: no rendezvous point is known |
 *
 * Each but direction, cable and host has a `-group` kind that silences one group only: a filter, a full table, a group
 * unknown to a port. A good path clears the elements that would have silenced it; of the group kinds, those of its group.
 */
export type ElementKind =
  | "link"
  | "reports"
  | "direction"
  | "cable"
  | "node"
  | "sender"
  | "receiver"
  | "host"
  | "node-source"
  | "node-any-source"
  | GroupKind;
export type GroupKind = "link-group" | "reports-group" | "node-group" | "sender-group" | "receiver-group";

/** An element that would silence a pair; group kinds of the trial's group. */
export interface Silencer {
  readonly kind: ElementKind;
  readonly place: number;
}

export interface FailureElement {
  readonly kind: ElementKind;
  /** Number of a segment (for cables, of the direction that a bad path used first) or of a node. */
  readonly place: number;
  /** Null for the kinds that silence every group; for the kinds of a source, or of joins without one, whose. */
  readonly groupKey: string | null;
}

/**
 * ln((1-p)/p) up to a common factor; the order is our choice, no source. Nearly equal, so that fewer faults always win and the prior only orders suspects
 * that tie. An all-group kind weighs less than its group kind: having tested one group is no reason to blame a group.
 */
export const ELEMENT_WEIGHTS: Readonly<Record<ElementKind, number>> = {
  link: 1,
  direction: 1.02,
  cable: 1.03,
  node: 1.05,
  reports: 1.08,
  sender: 1.1,
  receiver: 1.1,
  host: 1.12,
  "node-source": 1.16,
  "node-any-source": 1.17,
  "link-group": 1.15,
  "reports-group": 1.18,
  "node-group": 1.2,
  "sender-group": 1.25,
  "receiver-group": 1.25,
};

export const isGroupKind = (kind: ElementKind): kind is GroupKind => kind.endsWith("-group");

export const isOnNode = (kind: ElementKind): boolean =>
  kind.startsWith("node") || ["sender", "sender-group", "receiver", "receiver-group", "host"].includes(kind);

/** A part of a trunk or switch, in one VLAN, is a likelier place than the whole only when the whole is cleared. Our choice, no source. */
const PART_WEIGHT = 0.004;

export function elementWeight(site: SiteIndex, { kind, place }: Pick<FailureElement, "kind" | "place">): number {
  const isPart = (isOnNode(kind) ? site.wholeNode : site.wholeSegment).has(place);
  return ELEMENT_WEIGHTS[kind] + (isPart ? PART_WEIGHT : 0);
}

/** What a finding calls the element: a segment id or a node name; a cable by both its directions. */
export function placeNames(site: SiteIndex, { kind, place }: FailureElement): string[] {
  if (isOnNode(kind)) return [site.nodes[place]?.name ?? ""];
  const numbers = kind === "cable" ? [place, site.reverse[place] ?? place] : [place];
  return [...new Set(numbers.map((number) => site.segments[number]?.id ?? ""))];
}
