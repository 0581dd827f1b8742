/** One source's test traffic to one group and port. */
export interface ScenarioStream {
  /** Unique; a stream with `copies: 3` becomes `board-1` to `board-3`. */
  readonly name: string;
  /** Name of the agent that sends. */
  readonly source: string;
  /** Canonical text (RFC 5952 for IPv6). */
  readonly group: string;
  readonly port: number;
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly ttl: number;
  readonly dscp: number;
  /** Packets back to back at one due time. */
  readonly burstPackets: number;
  /** Listeners join (S,G) rather than (*,G). */
  readonly isSourceSpecific: boolean;
  /** The source also sends a slow unicast stream to each listener. */
  readonly hasCompanion: boolean;
  /** Position in the file's list of streams, from 0; the copies of a stream share it. */
  readonly entry: number;
  /** Set on somebody else's stream, which is followed and never sent; its rate, size, TTL and DSCP are not known then. */
  readonly production?: ProductionStream;
}

export interface ProductionStream {
  /** A node of the site plan or the sender's address; null: the sender that is seen. */
  readonly from: string | null;
  /** Null: found by looking. */
  readonly format: "rtp" | "mpeg-ts" | "any" | null;
}
