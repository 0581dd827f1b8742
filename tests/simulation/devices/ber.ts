/**
 * Basic Encoding Rules, as far as SNMP needs them (ITU-T X.690, sections 8.1 to 8.3 and 8.19; RFC 3416 for its own types). Written
 * for the tests, without the library that the controller reads with.
 */
export type Bytes = readonly number[];

export function tlv(tag: number, content: Bytes): number[] {
  if (content.length < 128) return [tag, content.length, ...content];
  const length: number[] = [];
  for (let left = content.length; left > 0; left = Math.floor(left / 256)) length.unshift(left % 256);
  return [tag, 0x80 | length.length, ...length, ...content];
}

/** Two's complement in the fewest octets, of a number that is not negative. */
export function integer(value: number, tag = 0x02): number[] {
  const octets: number[] = [];
  for (let left = value; left > 0 || octets.length === 0; left = Math.floor(left / 256)) octets.unshift(left % 256);
  if ((octets[0] ?? 0) >= 0x80) octets.unshift(0);
  return tlv(tag, octets);
}

export const octetString = (content: Bytes | string, tag = 0x04): number[] =>
  tlv(tag, typeof content === "string" ? [...new TextEncoder().encode(content)] : content);

export function oid(text: string): number[] {
  const [first = 0, second = 0, ...rest] = text.split(".").map(Number);
  return tlv(
    0x06,
    [first * 40 + second, ...rest].flatMap((arc) => {
      const octets = [arc % 128];
      for (let left = Math.floor(arc / 128); left > 0; left = Math.floor(left / 128))
        octets.unshift(128 + (left % 128));
      return octets;
    }),
  );
}

export const sequence = (...parts: readonly Bytes[]): number[] => tlv(0x30, parts.flat());

export interface Element {
  readonly tag: number;
  readonly content: Bytes;
}

/** The elements of a constructed one. */
export function elements(bytes: Bytes): Element[] {
  const found: Element[] = [];
  for (let at = 0; at < bytes.length; ) {
    const tag = bytes[at] ?? 0;
    let length = bytes[at + 1] ?? 0;
    at += 2;
    if (length >= 0x80) {
      const octets = bytes.slice(at, at + (length & 0x7f));
      at += octets.length;
      length = octets.reduce((sum, octet) => sum * 256 + octet, 0);
    }
    found.push({ tag, content: bytes.slice(at, at + length) });
    at += length;
  }
  return found;
}

export const numberIn = ({ content }: Element): number => content.reduce((sum, octet) => sum * 256 + octet, 0);

export function oidIn({ content }: Element): string {
  const arcs: number[] = [];
  let arc = 0;
  for (const octet of content) {
    arc = arc * 128 + (octet & 0x7f);
    if (octet >= 0x80) continue;
    arcs.push(arc);
    arc = 0;
  }
  const [both = 0, ...rest] = arcs;
  const first = Math.min(2, Math.floor(both / 40));
  return [first, both - first * 40, ...rest].join(".");
}
