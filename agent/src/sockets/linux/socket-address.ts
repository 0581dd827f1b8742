import type { IpAddress } from "@dyetrace/wire";
import { formatIpAddress } from "@dyetrace/wire/ip-address";

export const AF_INET = 2; // linux/socket.h
export const AF_INET6 = 10; // linux/socket.h
/** sizeof(struct sockaddr_in6), the larger of the two (linux/in6.h). */
export const SOCKET_ADDRESS_BYTES = 28;

export const addressFamily = (address: IpAddress): number => (address.family === 4 ? AF_INET : AF_INET6);
export const addressLength = (address: IpAddress): number => (address.family === 4 ? 16 : 28);

/**
 * Writes a `sockaddr_in` (linux/in.h) or `sockaddr_in6` (linux/in6.h).
 * @param scopeIndex interface that a link-local IPv6 address belongs to, else 0
 */
export function writeSocketAddress(
  view: DataView,
  at: number,
  address: IpAddress,
  port: number,
  scopeIndex: number,
): void {
  view.setUint16(at, addressFamily(address), true);
  view.setUint16(at + 2, port);
  const bytesAt = address.family === 4 ? at + 4 : at + 8;
  for (const [i, byte] of address.bytes.entries()) view.setUint8(bytesAt + i, byte);
  if (address.family === 6) view.setUint32(at + 24, scopeIndex, true);
}

export function socketAddress(address: IpAddress, port: number, scopeIndex: number): ArrayBuffer {
  const buffer = new ArrayBuffer(addressLength(address));
  writeSocketAddress(new DataView(buffer), 0, address, port, scopeIndex);
  return buffer;
}

/** @returns the address part of a socket address that the kernel wrote, as text; null for another family */
export function readSocketAddress(view: DataView, at: number): string | null {
  const family = view.getUint16(at, true);
  if (family !== AF_INET && family !== AF_INET6) return null;
  const from = view.byteOffset + (family === AF_INET ? at + 4 : at + 8);
  return formatIpAddress(new Uint8Array(view.buffer, from, family === AF_INET ? 4 : 16));
}
