import type { MembershipMessage } from "@dyetrace/wire";
import { decodeMembershipFrame } from "@dyetrace/wire/decode-membership-frame";
import koffi from "koffi";

const AF_PACKET = 17; // linux/socket.h
const SOCK_RAW = 3; // linux/net.h
const ETH_P_ALL = 0x0003; // linux/if_ether.h
const SOL_SOCKET = 1; // asm-generic/socket.h
const SO_ATTACH_FILTER = 26; // asm-generic/socket.h
const FRAME_BYTES = 9_234;

const libc = koffi.load("libc.so.6");
const socket = libc.func("int socket(int domain, int type, int protocol)");
const bind = libc.func("int bind(int fd, const uint8_t *address, uint32_t length)");
koffi.struct("sock_fprog", { len: "uint16_t", filter: "uint8_t *" });
const setFilter = libc.func("int setsockopt(int fd, int level, int name, sock_fprog *value, uint32_t length)");
const recv = libc.func("long recv(int fd, _Out_ uint8_t *buffer, size_t length, int flags)");

/**
 * Classic BPF (linux/filter.h): IPv4 of protocol 2 (IGMP), and IPv6 with hop-by-hop options, which every MLD message has;
 * so that the data itself does not come up here.
 */
const FILTER: readonly (readonly [code: number, jt: number, jf: number, k: number])[] = [
  [0x28, 0, 0, 12], // ethertype
  [0x15, 0, 2, 0x0800],
  [0x30, 0, 0, 23], // protocol
  [0x15, 3, 4, 2],
  [0x15, 0, 3, 0x86dd],
  [0x30, 0, 0, 20], // next header
  [0x15, 0, 1, 0],
  [0x06, 0, 0, 0xffff],
  [0x06, 0, 0, 0],
];

/** Calls back for each membership message that comes in at an interface; the router's own are left out. */
export function hearMemberships(
  interfaceIndex: number,
  ownMac: string,
  onMessage: (message: MembershipMessage) => void,
): void {
  const fd = Number(socket(AF_PACKET, SOCK_RAW, 0)); // protocol 0: nothing is received before `bind`
  if (fd < 0) throw new Error(`cannot listen on interface ${interfaceIndex}: errno ${koffi.errno()}`);
  attachFilter(fd);
  // struct sockaddr_ll (linux/if_packet.h): family, protocol in network order, interface index; the rest is not needed.
  const address = new DataView(new ArrayBuffer(20));
  address.setUint16(0, AF_PACKET, true);
  address.setUint16(2, ETH_P_ALL);
  address.setInt32(4, interfaceIndex, true);
  if (Number(bind(fd, new Uint8Array(address.buffer), 20)) !== 0) {
    throw new Error(`cannot bind to interface ${interfaceIndex}: errno ${koffi.errno()}`);
  }
  const listen = (): void => {
    const frame = new Uint8Array(FRAME_BYTES);
    recv.async(fd, frame, frame.length, 0, (error: unknown, length: number) => {
      if (error !== null || length < 0) throw new Error(`cannot receive: errno ${koffi.errno()}`);
      const message = decodeMembershipFrame(frame, new DataView(frame.buffer), Number(length));
      if (message !== null && message.sourceMac !== ownMac) onMessage(message);
      listen();
    });
  };
  listen();
}

function attachFilter(fd: number): void {
  const program = new DataView(new ArrayBuffer(8 * FILTER.length)); // struct sock_filter
  for (const [at, [code, jt, jf, k]] of FILTER.entries()) {
    program.setUint16(8 * at, code, true);
    program.setUint8(8 * at + 2, jt);
    program.setUint8(8 * at + 3, jf);
    program.setUint32(8 * at + 4, k, true);
  }
  const value = { len: FILTER.length, filter: new Uint8Array(program.buffer) };
  if (Number(setFilter(fd, SOL_SOCKET, SO_ATTACH_FILTER, value, 16)) === 0) return;
  throw new Error(`cannot set a filter: errno ${koffi.errno()}`);
}
