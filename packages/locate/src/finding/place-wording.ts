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
