import type { SiteIndex } from "./site-index.ts";

/**
 * What can fail, and which pairs of stream and listener it silences:
 *
 * | kind        | silences pairs                                | cleared by a good path                  |
 * |-------------|-----------------------------------------------|-----------------------------------------|
 * | link        | through the segment                           | through the segment, any group          |
 * | cable       | through the segment or its other direction    | through either direction, any group     |
 * | node        | through the node                              | through the node, any group             |
 * | sender      | from the host                                 | from the host, any group                |
 * | receiver    | to the host                                   | to the host, any group                  |
 * | link-group  | of one group through the segment              | of that group through the segment       |
 * | node-group  | of one group through the node                 | of that group through the node          |
 * | sender-group, receiver-group | of one group from or to the host | of that group from or to the host     |
 *
 * `link-group` is "no group state on that port", which lost membership reports in the other direction cause as well.
 */
export type ElementKind = "link" | "cable" | "node" | "sender" | "receiver" | GroupElementKind;
export type GroupElementKind = "link-group" | "node-group" | "sender-group" | "receiver-group";

export interface FailureElement {
  readonly kind: ElementKind;
  /** Number of a segment for links and cables (of the first bad path's direction), of a node otherwise. */
  readonly place: number;
  /** Null for the kinds that silence every group. */
  readonly groupKey: string | null;
}

/**
 * ln((1-p)/p) up to a common factor. Nearly equal, so that fewer faults always win and the prior only orders suspects
 * that tie. An all-group kind weighs less than its group kind: having tested one group is no reason to blame a group.
 */
export const ELEMENT_WEIGHTS: Readonly<Record<ElementKind, number>> = {
  link: 1,
  cable: 1.03,
  node: 1.05,
  sender: 1.1,
  receiver: 1.1,
  "link-group": 1.15,
  "node-group": 1.2,
  "sender-group": 1.25,
  "receiver-group": 1.25,
};

export const isLinkKind = (kind: ElementKind): boolean => kind === "link" || kind === "cable" || kind === "link-group";

/** What a finding calls the element: a segment id or a node name. */
export function placeName(site: SiteIndex, element: FailureElement): string {
  const name = isLinkKind(element.kind) ? site.segments[element.place]?.id : site.nodes[element.place]?.name;
  if (name === undefined)
    throw new RangeError(`Site ${site.graph.name} has no ${element.kind} number ${element.place}`);
  return name;
}
