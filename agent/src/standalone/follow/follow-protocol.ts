import type { FlowReport } from "./flow-report.ts";

/** What the thread that follows one group is told when it starts. What must reach it later goes through `control`. */
export interface FollowSetup {
  readonly interfaceName: string;
  readonly interfaceIndex: number;
  readonly interfaceIpv4: string | null;
  readonly group: string;
  readonly port: number;
  /** Address of the one source to join (RFC 4607), null for any. */
  readonly source: string | null;
  readonly control: SharedArrayBuffer;
  /** Null goes on until it is told to end. */
  readonly durationNs: number | null;
}

/** One second of listening. */
export interface FollowReport {
  /** Times count from the join. */
  readonly fromNs: number;
  readonly toNs: number;
  readonly flows: readonly FlowReport[];
  /** Packets that the host dropped at our socket; null where it does not tell. */
  readonly hostDropped: number | null;
  /** Came in by another interface. Not in any flow. */
  readonly misdirectedPackets: number;
  /** Packets of flows beyond those that are followed. */
  readonly unfollowedPackets: number;
}

export type FromFollower =
  | { readonly kind: "refused"; readonly code: string; readonly message: string; readonly hint: string }
  | { readonly kind: "joined" }
  | { readonly kind: "second"; readonly report: FollowReport }
  /** The last, perhaps shorter, second; the group is left. */
  | { readonly kind: "last"; readonly report: FollowReport };
