/** What of an IEEE 802.11 frame matters here: who is sent to, and how. Clause 9 of IEEE 802.11-2020. */
export type AirFrame = AirDataFrame | AirAck | AirBlockAck | { readonly kind: "other" };

/** Addresses in lower case with colons. */
export interface AirDataFrame {
  readonly kind: "data";
  /** Who is to receive it over the air: a group, or one station. */
  readonly receiver: string;
  readonly transmitter: string;
  /** Whom it is for in the end; null in an A-MSDU, whose parts have their own. */
  readonly destination: string | null;
  /** Sent by an access point to stations, by a station to its access point, or neither. */
  readonly way: "from-access-point" | "to-access-point" | "other";
  readonly isRetry: boolean;
  readonly isEncrypted: boolean;
  readonly isFragment: boolean;
  readonly sequence: number;
  /** Traffic identifier; null in a frame without QoS. */
  readonly tid: number | null;
  /** Whether its receiver answers at once, later for several, or never. */
  readonly answer: "ack" | "block-ack" | "none";
  readonly isAmsdu: boolean;
  /** Where what it carries begins. */
  readonly payloadAt: number;
}

export interface AirAck {
  readonly kind: "ack";
  readonly receiver: string;
}

/** Compressed block acknowledgement of one traffic identifier. */
export interface AirBlockAck {
  readonly kind: "block-ack";
  readonly receiver: string;
  readonly transmitter: string;
  readonly tid: number;
  /** Sequence numbers that arrived. */
  readonly sequences: readonly number[];
}

const OTHER = { kind: "other" } as const;
const [CONTROL, DATA] = [1, 2];
const [BLOCK_ACK, ACK] = [9, 13];
const COMPRESSED = 2;
const SEQUENCES = 4096;

/** Whether the first octet of an address has the group bit. */
export const isGroupAddress = (address: string): boolean => (Number.parseInt(address.slice(0, 2), 16) & 1) === 1;

/**
 * Never throws, whatever the bytes.
 * @param bytes from the frame control field on, without FCS
 * @param isPadded the header is followed by padding to 4 bytes
 */
export function decodeAirFrame(bytes: Uint8Array, isPadded: boolean): AirFrame {
  if (bytes.byteLength < 10) return OTHER;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const [control, flags] = [view.getUint8(0), view.getUint8(1)];
  if ((control & 0x03) !== 0) return OTHER; // version
  const [type, subtype] = [(control >> 2) & 0x03, control >> 4];
  if (type === CONTROL) return controlFrame(view, subtype);
  const carriesNothing = (subtype & 4) !== 0;
  if (type !== DATA || carriesNothing || bytes.byteLength < 24) return OTHER;
  return dataFrame(view, (subtype & 8) !== 0, flags, isPadded);
}

function controlFrame(view: DataView, subtype: number): AirFrame {
  if (subtype === ACK) return { kind: "ack", receiver: addressAt(view, 4) };
  if (subtype !== BLOCK_ACK || view.byteLength < 28) return OTHER;
  const control = view.getUint16(16, true);
  const start = view.getUint16(18, true);
  if (((control >> 1) & 0x0f) !== COMPRESSED || ![0, 4].includes(start & 0x0f)) return OTHER;
  // A fragment number of 0 means 64 frames, of 4 means 256 (IEEE 802.11ax-2021, table 9-30a).
  const wantedBytes = (start & 0x0f) === 4 ? 32 : 8;
  const sequences: number[] = [];
  for (let index = 0; index < 8 * Math.min(wantedBytes, view.byteLength - 20); index++) {
    const isSet = (view.getUint8(20 + (index >> 3)) & (1 << (index & 7))) !== 0;
    if (isSet) sequences.push(((start >> 4) + index) % SEQUENCES);
  }
  return {
    kind: "block-ack",
    receiver: addressAt(view, 4),
    transmitter: addressAt(view, 10),
    tid: control >> 12,
    sequences,
  };
}

function dataFrame(view: DataView, hasQos: boolean, flags: number, isPadded: boolean): AirFrame {
  const [isToDs, isFromDs] = [(flags & 1) !== 0, (flags & 2) !== 0];
  const isRelayed = isToDs && isFromDs;
  const qosAt = 24 + (isRelayed ? 6 : 0);
  const hasHtControl = hasQos && (flags & 0x80) !== 0;
  const headerBytes = qosAt + (hasQos ? 2 : 0) + (hasHtControl ? 4 : 0);
  if (view.byteLength < headerBytes) return OTHER;
  const qos = hasQos ? view.getUint16(qosAt, true) : 0;
  const control = view.getUint16(22, true);
  const isAmsdu = (qos & 0x80) !== 0;
  const receiver = addressAt(view, 4);
  const answers = ["ack", "none", "none", "block-ack"] as const;
  return {
    kind: "data",
    receiver,
    transmitter: addressAt(view, 10),
    destination: isAmsdu ? null : isToDs ? addressAt(view, 16) : receiver,
    way: isRelayed ? "other" : isFromDs ? "from-access-point" : isToDs ? "to-access-point" : "other",
    isRetry: (flags & 0x08) !== 0,
    isEncrypted: (flags & 0x40) !== 0,
    isFragment: (flags & 0x04) !== 0 || (control & 0x0f) !== 0,
    sequence: control >> 4,
    tid: hasQos ? qos & 0x0f : null,
    answer: isGroupAddress(receiver) ? "none" : (answers[(qos >> 5) & 0x03] ?? "none"),
    isAmsdu,
    payloadAt: isPadded ? Math.ceil(headerBytes / 4) * 4 : headerBytes,
  };
}

/** @param at where six bytes are that were checked to be there */
export const addressAt = (view: DataView, at: number): string =>
  Array.from({ length: 6 }, (_, index) =>
    view
      .getUint8(at + index)
      .toString(16)
      .padStart(2, "0"),
  ).join(":");
