import { formatIpAddress, parseIpAddress } from "@dyetrace/wire/ip-address";
import koffi from "koffi";

/**
 * The kernel's multicast route table of this network namespace, for one family, by the multicast routing socket
 * (linux/mroute.h, linux/mroute6.h). The table is emptied when the socket closes.
 */
export interface KernelRoutes {
  /** @param outs interfaces by their position, as given to `openKernelRoutes` */
  put(source: string, group: string, from: number, outs: readonly number[]): void;
  remove(source: string, group: string, from: number): void;
}

const SOCK_RAW = 3; // linux/net.h
const FAMILIES = {
  4: { domain: 2, protocol: 2, level: 0, vifBytes: 16, entryBytes: 60 }, // AF_INET, IPPROTO_IGMP, IPPROTO_IP
  6: { domain: 10, protocol: 58, level: 41, vifBytes: 12, entryBytes: 92 }, // AF_INET6, IPPROTO_ICMPV6, IPPROTO_IPV6
} as const;
/** MRT_INIT and so on; MRT6_INIT has the same numbers. */
const INIT = 200;
const ADD_VIF = 202;
const ADD_MFC = 204;
const DEL_MFC = 205;
const VIFF_USE_IFINDEX = 8;
const TTL_THRESHOLD = 1;
const AF_INET6 = 10;
/** IGMPMSG_NOCACHE and MRT6MSG_NOCACHE: a packet came for which there is no entry. */
const NO_ENTRY = 1;
const UPCALL_BYTES = 65_536;

const libc = koffi.load("libc.so.6");
const socket = libc.func("int socket(int domain, int type, int protocol)");
const setsockopt = libc.func("int setsockopt(int fd, int level, int name, const uint8_t *value, uint32_t length)");
const recv = libc.func("long recv(int fd, _Out_ uint8_t *buffer, size_t length, int flags)");

/**
 * @param interfaceIndexes the kernel's, at most 32
 * @param onUnknown a packet of this source to this group came and has no entry
 */
export function openKernelRoutes(
  family: 4 | 6,
  interfaceIndexes: readonly number[],
  onUnknown: (source: string, group: string) => void,
): KernelRoutes {
  const { domain, protocol, level, vifBytes } = FAMILIES[family];
  const fd = Number(socket(domain, SOCK_RAW, protocol));
  if (fd < 0) throw new Error(`cannot open a routing socket: errno ${koffi.errno()}`);
  const set = (name: number, value: Uint8Array): number => {
    if (Number(setsockopt(fd, level, name, value, value.length)) === 0) return 0;
    return koffi.errno();
  };
  const must = (what: string, errno: number): void => {
    if (errno !== 0) throw new Error(`cannot ${what}: errno ${errno}`);
  };
  must("route multicast", set(INIT, new Uint8Array(Int32Array.of(1).buffer)));
  for (const [number, index] of interfaceIndexes.entries()) {
    // struct vifctl and mif6ctl agree in their first fields: number, flags, threshold.
    const view = new DataView(new ArrayBuffer(vifBytes));
    view.setUint16(0, number, true);
    view.setUint8(2, family === 4 ? VIFF_USE_IFINDEX : 0);
    view.setUint8(3, TTL_THRESHOLD);
    if (family === 4) view.setUint32(8, index, true);
    else view.setUint16(4, index, true);
    must(`route on interface ${index}`, set(ADD_VIF, new Uint8Array(view.buffer)));
  }
  listen(fd, family, onUnknown);
  const entry = family === 4 ? entryOfIpv4 : entryOfIpv6;
  return {
    put: (source, group, from, outs) =>
      must(`put a route for ${group}`, set(ADD_MFC, entry(source, group, from, outs))),
    // It may have gone with its interface.
    remove: (source, group, from) => void set(DEL_MFC, entry(source, group, from, [])),
  };
}

/** struct mfcctl: source, group, incoming interface, then for each interface the TTL that a packet must exceed (0: none). */
function entryOfIpv4(source: string, group: string, from: number, outs: readonly number[]): Uint8Array {
  const bytes = new Uint8Array(FAMILIES[4].entryBytes);
  bytes.set(bytesOf(source), 0);
  bytes.set(bytesOf(group), 4);
  new DataView(bytes.buffer).setUint16(8, from, true);
  for (const out of outs) bytes[10 + out] = TTL_THRESHOLD;
  return bytes;
}

/** struct mf6cctl: source and group as struct sockaddr_in6, incoming interface, a bit for each outgoing one. */
function entryOfIpv6(source: string, group: string, from: number, outs: readonly number[]): Uint8Array {
  const bytes = new Uint8Array(FAMILIES[6].entryBytes);
  const view = new DataView(bytes.buffer);
  for (const [at, address] of [[0, source] as const, [28, group] as const]) {
    view.setUint16(at, AF_INET6, true);
    bytes.set(bytesOf(address), at + 8);
  }
  view.setUint16(56, from, true);
  view.setUint32(60, outs.reduce((bits, out) => bits | (1 << out), 0) >>> 0, true);
  return bytes;
}

const bytesOf = (text: string): Uint8Array => parseIpAddress(text)?.bytes ?? new Uint8Array();

/** Beside membership messages, the socket is told of packets without an entry (struct igmpmsg, struct mrt6msg). */
function listen(fd: number, family: 4 | 6, onUnknown: (source: string, group: string) => void): void {
  const buffer = new Uint8Array(UPCALL_BYTES);
  recv.async(fd, buffer, buffer.length, 0, (error: unknown, length: number) => {
    if (error !== null || length < 0) throw new Error(`cannot hear the kernel: errno ${koffi.errno()}`);
    const isUpcall =
      family === 4 ? buffer[8] === NO_ENTRY && buffer[9] === 0 : buffer[0] === 0 && buffer[1] === NO_ENTRY;
    const at = family === 4 ? 12 : 8;
    const size = family === 4 ? 4 : 16;
    if (isUpcall && Number(length) >= at + 2 * size) {
      const text = (from: number): string => formatIpAddress(buffer.slice(from, from + size));
      onUnknown(text(at), text(at + size));
    }
    listen(fd, family, onUnknown);
  });
}
