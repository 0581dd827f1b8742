import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { isProxySource } from "./query-acceptance.ts";

/**
 * The querier that wins the election among those whose queries were heard: the lowest address, compared as an
 * unsigned number. MLD compares the interface ids, which is the same because all sources share fe80::/64.
 * @param addresses of one family
 * @returns null when nobody takes part; 0.0.0.0 and :: never do (RFC 4541, section 2.1.1 (4))
 * @see RFC 2236, section 3; RFC 3376, section 6.6.2; RFC 3810, section 7.6.2
 */
export function electQuerier(addresses: Iterable<string>): string | null {
  let elected: { readonly text: string; readonly bytes: Uint8Array } | null = null;
  for (const text of addresses) {
    const address = parseIpAddress(text);
    if (address === null || isProxySource(text)) continue;
    const bytes = address.family === 6 ? address.bytes.subarray(8) : address.bytes;
    if (elected === null || isLower(bytes, elected.bytes)) elected = { text, bytes };
  }
  return elected?.text ?? null;
}

function isLower(a: Uint8Array, b: Uint8Array): boolean {
  for (let i = 0; i < a.length; i++) {
    const difference = (a[i] ?? 0) - (b[i] ?? 0);
    if (difference !== 0) return difference < 0;
  }
  return false;
}
