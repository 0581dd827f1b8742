/**
 * Names of places in one VLAN: a switch or a trunk that several VLANs cross is one place for each of them,
 * `core vlan 20` or `core:1>pier:24 vlan 20`. Whatever only one VLAN touches keeps its plain name.
 */
const IN_VLAN = / vlan ([0-9]+)$/;

export const placeInVlan = (place: string, vlan: number): string => `${place} vlan ${vlan}`;

/** The place as the plan names it: a node, or a segment's id. */
export const planPlace = (place: string): string => place.replace(IN_VLAN, "");

/** @returns the VLAN that the name is about; null where it means the place as a whole */
export function vlanOfPlace(place: string): number | null {
  const number = IN_VLAN.exec(place)?.[1];
  return number === undefined ? null : Number(number);
}
