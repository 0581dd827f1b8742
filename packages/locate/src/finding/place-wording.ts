import { type LinkSegment, type PortRef, planPlace, vlanOfPlace } from "@dyetrace/site";

/** "core:1", whatever VLAN of the switch is meant. */
export const portName = ({ node, port }: PortRef): string => `${planPlace(node)}:${port}`;

/** " in VLAN 20" where all the places lie in one VLAN alone. */
export function vlanPhrase(places: readonly string[]): string {
  const [vlan = null, ...others] = new Set(places.map(vlanOfPlace));
  return vlan === null || others.length > 0 ? "" : ` in VLAN ${vlan}`;
}

/** "between core:1 and pier-east:24 in VLAN 20", from where the first segment leaves to where the last one arrives. */
export function betweenPhrase(first: LinkSegment, last: LinkSegment): string {
  const ends = [portName(first.from), portName(last.to)] as const;
  // Into a router and out of it by the same cable.
  const way = ends[0] === ends[1] ? ` by way of ${planPlace(last.from.node)}` : "";
  return `between ${ends[0]} and ${ends[1]}${way}${vlanPhrase([first.id, last.id])}`;
}

/**
 * "between core:1 and pier-east:24", or "in sw3" where the first suspect is a node. It begins with the first suspect, so
 * that title and suspects send to the same place, and goes on as far as suspects follow each other.
 * @param segments those among the suspects, from the source downwards
 */
export function suspectPhrase(
  [chief = "an unknown place"]: readonly string[],
  segments: readonly LinkSegment[],
): string {
  const first = segments.find(({ id }) => id === chief);
  if (first === undefined) return `in ${chief}`;
  let last = first;
  for (const next of segments.slice(segments.indexOf(first) + 1)) {
    // A trunk and a VLAN on it, or both directions of one link.
    if (planPlace(next.id) === planPlace(last.id) || next.link === last.link) continue;
    if (planPlace(next.from.node) !== planPlace(last.to.node)) break;
    last = next;
  }
  return betweenPhrase(first, last);
}
