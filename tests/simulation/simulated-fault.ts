/** A stream of a simulated run. */
export interface SimulatedStream {
  readonly stream: string;
  readonly group: string;
  readonly source: string;
  readonly listeners: readonly string[];
  /** Joined hosts whose agents say nothing. */
  readonly silentAgents?: readonly string[];
  readonly bystanders?: readonly string[];
  readonly packets: number;
  readonly payloadBytes?: number;
  readonly packetsPerSecond?: number;
  /** When its listeners joined, ms before (then negative) or after the first packet. */
  readonly joinedFromMs?: number;
}

export type SimulatedFault =
  /** Everything on one direction of a link is lost, data and membership reports. */
  | { readonly kind: "dead-segment"; readonly segment: string; readonly fromMs?: number }
  | { readonly kind: "dead-node"; readonly node: string; readonly fromMs?: number }
  /**
   * Data on one direction of a link, or through a node, is lost for a time. Memberships outlast it, so no port forgets its
   * group. Without `toMs` it lasts to the end.
   */
  | { readonly kind: "outage"; readonly place: string; readonly fromMs: number; readonly toMs?: number }
  | { readonly kind: "dead-sender"; readonly host: string }
  | { readonly kind: "dead-receiver"; readonly host: string }
  /** One group is stopped on a segment or in a node. */
  | { readonly kind: "segment-group"; readonly segment: string; readonly group: string }
  | { readonly kind: "node-group"; readonly node: string; readonly group: string }
  /** Membership reports that travel along `segment` are lost; data on it is not. */
  | { readonly kind: "lost-reports"; readonly segment: string }
  | { readonly kind: "size-limit"; readonly segment: string; readonly largestBytes: number }
  /** Mean loss; with `burstPackets` over 1 losses come in runs of that mean length. */
  | { readonly kind: "loss"; readonly segment: string; readonly ratio: number; readonly burstPackets?: number }
  /** Each stream on the segment is cut to this many packets in a second; a few more may come in a row. */
  | {
      readonly kind: "policer";
      readonly segment: string;
      readonly passedPerSecond: number;
      readonly depthPackets: number;
    }
  /** The switch sends frames out of all its ports, or of one that should be closed. */
  | { readonly kind: "flooding-node"; readonly node: string }
  | { readonly kind: "flooding-port"; readonly segment: string };

/** Where the stream does not say. */
export const JOINED_FROM_MS: number = -3_000;
export const PACKETS_PER_SECOND = 100;
export const PAYLOAD_BYTES = 1316;
