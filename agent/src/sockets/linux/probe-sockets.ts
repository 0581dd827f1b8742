import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { checked, libc } from "./libc.ts";
import { setListenOptions } from "./multicast-options.ts";
import { closeSocket, openUdpSocket, raiseReceiveBuffer, socketDrops } from "./socket.ts";

const AF_PACKET = 17; // linux/socket.h
const SOCK_RAW = 3; // linux/net.h

/** What sockets of this process get from this host, found out by asking for it. */
export interface SocketProbe {
  /** Receive buffer that a listener gets, in the kernel's counting. */
  readonly receiveBufferBytes: number;
  readonly hostLossCount: boolean;
  readonly ipv6: boolean;
  /** CAP_NET_RAW in this network namespace. */
  readonly packetSockets: boolean;
}

/** Enough for 2 s of 8 Mbit/s with the kernel's overhead, or 40 ms of 400 Mbit/s. */
export const RECEIVE_BUFFER_BYTES: number = 4 << 20;

/** Opens and closes sockets; joins nothing and sends nothing. @throws {SystemCallError} if not even UDP works */
export function probeSockets(): SocketProbe {
  const probe = (text: string): { buffer: number; drops: number | null } => {
    const address = parseIpAddress(text);
    if (address === null) throw new Error(`${text} is no address`);
    const fd = openUdpSocket(address);
    try {
      setListenOptions(fd, address);
      return { buffer: raiseReceiveBuffer(fd, RECEIVE_BUFFER_BYTES), drops: socketDrops(fd) };
    } finally {
      closeSocket(fd);
    }
  };
  const v4 = probe("0.0.0.0");
  return {
    receiveBufferBytes: v4.buffer,
    hostLossCount: v4.drops !== null,
    ipv6: works(() => probe("::")),
    packetSockets: works(() => closeSocket(checked("socket", libc().socket(AF_PACKET, SOCK_RAW, 0)))),
  };
}

function works(attempt: () => unknown): boolean {
  try {
    attempt();
    return true;
  } catch {
    return false;
  }
}
