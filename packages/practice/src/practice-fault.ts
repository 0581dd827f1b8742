/**
 * A fault of a practice site, checked and in numbers. `on` is the place as the site plan names it: a segment
 * (`core:1>pier-east:24`), a port (`core:1`) or a node (`core`).
 */
export type PracticeFault = PracticeFaultWindow & PracticeFaultKind;

export interface PracticeFaultWindow {
  readonly on: string;
  /** Milliseconds after the start of the run; null: it stands from the beginning. */
  readonly atMs: number | null;
  /** Milliseconds after the start of the run; null: it stands to the end. */
  readonly untilMs: number | null;
}

export type PracticeFaultKind =
  | ({ readonly fault: "drop"; readonly largerThanBytes: number | null } & PacketChoice)
  | ({ readonly fault: "duplicate" } & PacketChoice)
  | { readonly fault: "reorder"; readonly group: string | null; readonly every: number; readonly delayMs: number }
  | { readonly fault: "rate-limit"; readonly limit: RateLimit }
  | { readonly fault: "table-size"; readonly max: number }
  | { readonly fault: "drop-reports" | "drop-leaves"; readonly host: string | null }
  | { readonly fault: "igmp-version"; readonly igmp: 2 | 3 | null; readonly mld: 1 | 2 | null }
  | { readonly fault: "no-querier"; readonly isSilent: boolean }
  | ({ readonly fault: "querier-timers" } & QuerierTimersChange)
  | { readonly fault: "router-port"; readonly mode: "always" | "never" }
  | { readonly fault: "mtu"; readonly sizeBytes: number }
  | { readonly fault: "static-entry"; readonly group: string }
  | { readonly fault: "host-firewall"; readonly block: "igmp" }
  | { readonly fault: "host-firewall"; readonly block: "udp"; readonly port: number }
  | { readonly fault: "reverse-path"; readonly source: string }
  | { readonly fault: "forward-delay"; readonly holdMs: number }
  | {
      readonly fault:
        | "snooping-off"
        | "drop-queries"
        | "fast-leave"
        | "second-querier"
        | "to-unicast"
        | "link-down"
        | "hairpin"
        | "isolated";
    };

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
