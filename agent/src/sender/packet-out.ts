/** Why the kernel did not take a packet. */
export type SendRefusal = "enobufs" | "eagain" | "other";

/** A socket that sends one stream, with room for the packets of one batch. Linux and portable sockets both are this. */
export interface PacketOut {
  readonly capacity: number;
  /** Slot i's head, to be stamped before it is sent, stands at i * headBytes. */
  readonly heads: DataView;
  readonly headsBytes: Uint8Array;
  readonly headBytes: number;
  /** Hot path. @returns how many of slots `from` to `from + count - 1` were taken; 0 with `refusal` set */
  send(from: number, count: number): number;
  readonly refusal: SendRefusal;
  /** Name of the last error, as `ENETUNREACH`. */
  readonly errorName: string;
  /** A new packet for all slots (another size, another interval); the socket stays. */
  lay(packet: Uint8Array, capacity: number): void;
  close(): void;
}
