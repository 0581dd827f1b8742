/**
 * An IPv4 or IPv6 address as bytes in network order. Pure: no resolver, no name. ipaddr.js (2.5.0) was tried in place of
 * what follows: it takes `1.2.3`, `010.1.1.1` and `fe80::1%eth0`, reads `::1.2.3.04` as another address, and would put
 * 8 kB into the page and a package more on every agent.
 */
export interface IpAddress {
  readonly family: 4 | 6;
  /** 4 or 16 bytes. */
  readonly bytes: Uint8Array;
}

/** @returns the address, or null if `text` is none. Accepts RFC 4291 2.2 forms; no zone index. */
export function parseIpAddress(text: string): IpAddress | null {
  const bytes = text.includes(":") ? parseV6(text) : parseV4(text);
  return bytes === null ? null : { family: bytes.length === 4 ? 4 : 6, bytes };
}

function parseV4(text: string): Uint8Array | null {
  const parts = text.split(".");
  if (parts.length !== 4 || !parts.every((part) => /^(0|[1-9][0-9]{0,2})$/.test(part) && Number(part) <= 255))
    return null;
  return Uint8Array.from(parts, Number);
}

function parseV6(text: string): Uint8Array | null {
  const halves = text.split("::");
  if (halves.length > 2) return null;
  const head = parseGroups(halves[0] ?? "", halves.length === 1);
  const tail = halves.length === 2 ? parseGroups(halves[1] ?? "", true) : [];
  if (head === null || tail === null) return null;
  const missing = 16 - head.length - tail.length;
  if (halves.length === 2 ? missing < 2 : missing !== 0) return null;
  return Uint8Array.from([...head, ...new Array<number>(missing).fill(0), ...tail]);
}

/** @param isEnd dotted decimal may stand at an address's very end, and nowhere else */
function parseGroups(text: string, isEnd: boolean): number[] | null {
  if (text === "") return [];
  const bytes: number[] = [];
  const groups = text.split(":");
  for (const [index, group] of groups.entries()) {
    if (group.includes(".")) {
      const v4 = isEnd && index === groups.length - 1 ? parseV4(group) : null;
      if (v4 === null) return null;
      bytes.push(...v4);
    } else {
      if (!/^[0-9a-f]{1,4}$/i.test(group)) return null;
      const value = Number.parseInt(group, 16);
      bytes.push(value >> 8, value & 0xff);
    }
  }
  return bytes;
}

/** Dotted decimal, or the canonical text form of RFC 5952 (lower case, longest run of zeros shortened). */
export function formatIpAddress(bytes: Uint8Array): string {
  if (bytes.length === 4) return bytes.join(".");
  const words = Array.from({ length: 8 }, (_, i) => ((bytes[2 * i] ?? 0) << 8) | (bytes[2 * i + 1] ?? 0));
  let best = { at: -1, length: 1 }; // a single zero group is never shortened (RFC 5952 4.2.2)
  for (let at = 0; at < 8; at++) {
    let length = 0;
    while (at + length < 8 && words[at + length] === 0) length++;
    if (length > best.length) best = { at, length };
  }
  const hex = (from: number, to: number): string =>
    words
      .slice(from, to)
      .map((word) => word.toString(16))
      .join(":");
  return best.at < 0 ? hex(0, 8) : `${hex(0, best.at)}::${hex(best.at + best.length, 8)}`;
}

/** 224.0.0.0/4 (RFC 5771) or ff00::/8 (RFC 4291 2.7). */
export const isMulticast = (address: IpAddress): boolean =>
  address.family === 4 ? ((address.bytes[0] ?? 0) & 0xf0) === 0xe0 : address.bytes[0] === 0xff;

/** 232.0.0.0/8 or ff3x::/32 (RFC 4607 section 1). */
export const isSourceSpecific = (address: IpAddress): boolean =>
  address.family === 4
    ? address.bytes[0] === 232
    : address.bytes[0] === 0xff &&
      ((address.bytes[1] ?? 0) & 0xf0) === 0x30 &&
      address.bytes[2] === 0 &&
      address.bytes[3] === 0;

/** The Ethernet address that frames to a group carry (RFC 1112 6.4, RFC 2464 7), as `01:00:5e:01:02:03`. */
export function groupMac(group: IpAddress): string {
  const b = group.bytes;
  const mac =
    group.family === 4 ? [0x01, 0x00, 0x5e, (b[1] ?? 0) & 0x7f, b[2] ?? 0, b[3] ?? 0] : [0x33, 0x33, ...b.subarray(12)];
  return mac.map((byte) => byte.toString(16).padStart(2, "0")).join(":");
}
