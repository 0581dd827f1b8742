/** Why a packet was not taken; `pending` is no refusal: the answer comes later, through `onSettled`. */
export type SendRefusal = "enobufs" | "eagain" | "other" | "pending";

/** A socket that sends one stream, with room for the packets of one batch. Linux and portable sockets both are this. */
export interface PacketOut {
  /** Most packets of one batch; 1 where each send answers later. */
  readonly capacity: number;
  /** Slot i's head, to be stamped before it is sent, stands at i * headBytes. */
  readonly heads: DataView;
  readonly headsBytes: Uint8Array;
  readonly headBytes: number;
  /** Lays out `capacity` slots with this packet: at the start, and again for another size or interval. */
  lay(packet: Uint8Array, capacity: number): void;
  /** Hot path. @returns how many of slots `from` to `from + count - 1` were taken; 0 with `refusal` set */
  send(from: number, count: number): number;
  readonly refusal: SendRefusal;
  /** Name of the last error, as `ENETUNREACH`. */
  readonly errorName: string;
  /** Called after `pending`, with the error's name or null when the packet was taken. */
  onSettled: ((errorName: string | null) => void) | null;
  close(): void;
}
