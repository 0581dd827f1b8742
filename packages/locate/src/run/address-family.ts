export type AddressFamily = 4 | 6;

/** Memberships of an IPv4 group are IGMP's, those of an IPv6 group are MLD's. @param address of a group or a host, as text */
export const familyOf = (address: string): AddressFamily => (address.includes(":") ? 6 : 4);

/** @see RFC 3376; RFC 3810 */
export const protocolOf = (family: AddressFamily): "IGMP" | "MLD" => (family === 4 ? "IGMP" : "MLD");
