/**
 * Messages to and from the kernel over generic netlink: linux/netlink.h, linux/genetlink.h. All numbers are in the byte order
 * of the host, which is little-endian wherever this is used.
 */
const HEADER_BYTES = 16;
const GENERIC_BYTES = 4;
const ATTRIBUTE_BYTES = 4;
const ERROR = 2; // NLMSG_ERROR
const DONE = 3; // NLMSG_DONE
const REQUEST = 1; // NLM_F_REQUEST
const DUMP = 0x300; // NLM_F_DUMP
/** Above it: whether an attribute is nested, and of which byte order. */
const TYPE_MASK = 0x3fff; // NLA_TYPE_MASK
const aligned = (bytes: number): number => Math.ceil(bytes / 4) * 4;

export type NetlinkAttribute = readonly [type: number, value: Uint8Array];

export interface NetlinkRequest {
  /** Of the family, or of the controller of families. */
  readonly type: number;
  readonly command: number;
  readonly version: number;
  readonly sequence: number;
  readonly isDump: boolean;
  readonly attributes: readonly NetlinkAttribute[];
}

/** @returns in a buffer of its own, as a system call wants it */
export function encodeNetlink(request: NetlinkRequest): ArrayBuffer {
  const bodyBytes = request.attributes.reduce((sum, [, value]) => sum + aligned(ATTRIBUTE_BYTES + value.byteLength), 0);
  const message = new ArrayBuffer(HEADER_BYTES + GENERIC_BYTES + bodyBytes);
  const view = new DataView(message);
  view.setUint32(0, message.byteLength, true);
  view.setUint16(4, request.type, true);
  view.setUint16(6, REQUEST | (request.isDump ? DUMP : 0), true);
  view.setUint32(8, request.sequence, true);
  view.setUint8(HEADER_BYTES, request.command);
  view.setUint8(HEADER_BYTES + 1, request.version);
  let at = HEADER_BYTES + GENERIC_BYTES;
  for (const [type, value] of request.attributes) {
    view.setUint16(at, ATTRIBUTE_BYTES + value.byteLength, true);
    view.setUint16(at + 2, type, true);
    new Uint8Array(message).set(value, at + ATTRIBUTE_BYTES);
    at += aligned(ATTRIBUTE_BYTES + value.byteLength);
  }
  return message;
}

export type NetlinkAnswer =
  /** 0 is an acknowledgement. */
  | { readonly kind: "error"; readonly sequence: number; readonly errno: number }
  | { readonly kind: "done"; readonly sequence: number }
  | {
      readonly kind: "message";
      readonly type: number;
      readonly sequence: number;
      readonly isMulti: boolean;
      readonly command: number;
      readonly attributes: ReadonlyMap<number, Uint8Array>;
    };

/** The messages of one datagram. Never throws: what is cut off or contradicts itself ends it. */
export function decodeNetlink(bytes: Uint8Array): NetlinkAnswer[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const answers: NetlinkAnswer[] = [];
  for (let at = 0; at + HEADER_BYTES <= bytes.byteLength; ) {
    const lengthBytes = view.getUint32(at, true);
    if (lengthBytes < HEADER_BYTES || at + lengthBytes > bytes.byteLength) break;
    const type = view.getUint16(at + 4, true);
    const sequence = view.getUint32(at + 8, true);
    const bodyAt = at + HEADER_BYTES;
    if (type === ERROR && lengthBytes >= HEADER_BYTES + 4) {
      answers.push({ kind: "error", sequence, errno: -view.getInt32(bodyAt, true) });
    } else if (type === DONE) answers.push({ kind: "done", sequence });
    else if (lengthBytes >= HEADER_BYTES + GENERIC_BYTES) {
      answers.push({
        kind: "message",
        type,
        sequence,
        isMulti: (view.getUint16(at + 6, true) & 2) !== 0, // NLM_F_MULTI
        command: view.getUint8(bodyAt),
        attributes: decodeAttributes(bytes.subarray(bodyAt + GENERIC_BYTES, at + lengthBytes)),
      });
    }
    at += aligned(lengthBytes);
  }
  return answers;
}

/** By type; of the same type the last one. For nested attributes, too. */
export function decodeAttributes(bytes: Uint8Array): ReadonlyMap<number, Uint8Array> {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const attributes = new Map<number, Uint8Array>();
  for (let at = 0; at + ATTRIBUTE_BYTES <= bytes.byteLength; ) {
    const lengthBytes = view.getUint16(at, true);
    if (lengthBytes < ATTRIBUTE_BYTES || at + lengthBytes > bytes.byteLength) break;
    attributes.set(view.getUint16(at + 2, true) & TYPE_MASK, bytes.subarray(at + ATTRIBUTE_BYTES, at + lengthBytes));
    at += aligned(lengthBytes);
  }
  return attributes;
}
