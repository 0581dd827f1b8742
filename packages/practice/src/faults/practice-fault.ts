import type { PracticeFaultName } from "@dyetrace/wire";

/**
 * A fault of a practice site, checked and in numbers. `on` is the place as the site plan names it: a segment
 * (`core:1>pier-east:24`), a port (`core:1`) or a node (`core`).
 */
export type PracticeFault = { readonly [Name in PracticeFaultName]: PracticeFaultOf<Name> }[PracticeFaultName];

export type PracticeFaultOf<Name extends PracticeFaultName> = PracticeFaultWindow & {
  readonly fault: Name;
} & PracticeFaultParameters[Name];

export interface PracticeFaultWindow {
  readonly on: string;
  /** The one VLAN in which it is so; absent: all that the place carries. */
  readonly vlan?: number;
  /** Milliseconds after the start of the run; null: it stands from the beginning. */
  readonly atMs: number | null;
  /** Milliseconds after the start of the run; null: it stands to the end. */
  readonly untilMs: number | null;
}

/** What each kind of fault needs to know besides its place; `unknown` is nothing. */
export interface PracticeFaultParameters {
  readonly drop: PacketChoice & { readonly largerThanBytes: number | null };
  readonly duplicate: PacketChoice;
  /** Every n-th packet is held for a while and comes after those behind it. */
  readonly reorder: { readonly group: string | null; readonly every: number; readonly delayMs: number };
  readonly "rate-limit": { readonly limit: RateLimit };
  readonly "snooping-off": unknown;
  readonly "table-size": { readonly max: number };
  readonly "drop-queries": unknown;
  /** Reports and leaves, of one host or of all. */
  readonly "drop-reports": { readonly host: string | null };
  readonly "drop-leaves": { readonly host: string | null };
  readonly "fast-leave": unknown;
  readonly "igmp-version": { readonly igmp: 2 | 3 | null; readonly mld: 1 | 2 | null };
  readonly "no-querier": { readonly isSilent: boolean };
  readonly "second-querier": unknown;
  readonly "querier-timers": QuerierTimersChange;
  readonly "to-unicast": unknown;
  readonly "router-port": { readonly mode: "always" | "never" };
  readonly mtu: { readonly sizeBytes: number };
  readonly "link-down": unknown;
  readonly hairpin: unknown;
  readonly isolated: unknown;
  readonly "static-entry": { readonly group: string };
  readonly "host-firewall": { readonly block: "igmp" } | { readonly block: "udp"; readonly port: number };
  readonly "reverse-path": { readonly source: string };
  readonly "vlan-missing": unknown;
  readonly "not-forwarding": { readonly group: string };
  readonly "no-rendezvous-point": unknown;
  /** Packets to a group, or from a host; null: to all, from anyone. */
  readonly "access-list": { readonly group: string | null; readonly source: string | null };
  readonly "forward-delay": { readonly holdMs: number };
}

/** Which packets: all of them or one group's, and of those all, a random share or every n-th. */
export interface PacketChoice {
  readonly group: string | null;
  readonly share: PacketShare;
}
export type PacketShare =
  | { readonly kind: "all" }
  | { readonly kind: "random"; readonly ratio: number }
  | { readonly kind: "every"; readonly n: number };

/** A shaper delays up to its queue and then drops, as a slow port does; a policer drops without delay. */
export type RateLimit =
  | { readonly kind: "shape"; readonly rateBps: number; readonly burstBytes: number | null }
  | { readonly kind: "police"; readonly packetsPerSecond: number; readonly burstPackets: number | null };

export interface QuerierTimersChange {
  readonly queryIntervalMs: number | null;
  readonly responseIntervalMs: number | null;
  readonly membershipIntervalMs: number | null;
  readonly lastMemberIntervalMs: number | null;
}
