/** A packet that a host's firewall may drop, as far as it is known. */
export interface PacketFacts {
  readonly family: 4 | 6;
  /** `in`: from the network to a socket. `out`: from this host to the network. */
  readonly direction: "in" | "out";
  readonly interfaceName: string;
  readonly protocol: "udp" | "igmp" | "icmpv6";
  /** Group address. */
  readonly destination: string;
  /** Null where it is not known. */
  readonly source: string | null;
  /** UDP only. */
  readonly destinationPort: number | null;
}
