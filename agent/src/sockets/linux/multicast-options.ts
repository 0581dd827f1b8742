import type { IpAddress } from "@dyetrace/wire";
import { checked, libc } from "./libc.ts";
import { getIntOption, SOL_SOCKET, setIntOption } from "./socket.ts";
import { writeSocketAddress } from "./socket-address.ts";

const IPPROTO_IP = 0; // linux/in.h, as all IP_ and MCAST_ numbers here
const IP_TOS = 1;
const IP_TTL = 2;
const IP_PKTINFO = 8;
const IP_RECVERR = 11;
const IP_RECVTTL = 12;
const IP_RECVTOS = 13;
const IP_MULTICAST_IF = 32;
const IP_MULTICAST_TTL = 33;
const IP_MULTICAST_LOOP = 34;
const IP_MULTICAST_ALL = 49;
const MCAST_JOIN_GROUP = 42;
const MCAST_LEAVE_GROUP = 45;
const MCAST_JOIN_SOURCE_GROUP = 46;
const MCAST_LEAVE_SOURCE_GROUP = 47;

const IPPROTO_IPV6 = 41; // linux/in6.h, as all IPV6_ numbers here
const IPV6_UNICAST_HOPS = 16;
const IPV6_MULTICAST_IF = 17;
const IPV6_MULTICAST_HOPS = 18;
const IPV6_MULTICAST_LOOP = 19;
const IPV6_RECVERR = 25;
const IPV6_V6ONLY = 26;
const IPV6_MULTICAST_ALL = 29;
const IPV6_RECVPKTINFO = 49;
const IPV6_RECVHOPLIMIT = 51;
const IPV6_RECVTCLASS = 66;
const IPV6_TCLASS = 67;

const SO_TIMESTAMPNS = 35; // asm-generic/socket.h (the 64-bit form, which this is on 64-bit kernels)
const SO_RXQ_OVFL = 40; // asm-generic/socket.h

export interface SendOptions {
  readonly interfaceIndex: number;
  readonly ttl: number;
  /** 0 to 63. */
  readonly dscp: number;
}

/**
 * Each option that a listener relies on is read back: a source with another TTL than it says would spoil every hop
 * count. With RECVERR a packet that the interface's queue drops is an ENOBUFS; without it UDP says nothing (ip(7)).
 */
export function setSendOptions(fd: number, group: IpAddress, options: SendOptions): void {
  const tos = options.dscp << 2; // RFC 2474 section 3: the upper six bits
  if (group.family === 4) {
    const mreqn = new ArrayBuffer(12); // struct ip_mreqn: group, local address, interface index
    new DataView(mreqn).setInt32(8, options.interfaceIndex, true);
    checked("setsockopt(IP_MULTICAST_IF)", libc().setsockopt(fd, IPPROTO_IP, IP_MULTICAST_IF, mreqn, 12));
    setAndVerify(fd, IPPROTO_IP, IP_MULTICAST_TTL, options.ttl);
    setAndVerify(fd, IPPROTO_IP, IP_TTL, options.ttl); // of a companion
    setAndVerify(fd, IPPROTO_IP, IP_TOS, tos);
    setAndVerify(fd, IPPROTO_IP, IP_MULTICAST_LOOP, 1);
    setIntOption(fd, IPPROTO_IP, IP_RECVERR, 1);
  } else {
    setAndVerify(fd, IPPROTO_IPV6, IPV6_MULTICAST_IF, options.interfaceIndex);
    setAndVerify(fd, IPPROTO_IPV6, IPV6_MULTICAST_HOPS, options.ttl);
    setAndVerify(fd, IPPROTO_IPV6, IPV6_UNICAST_HOPS, options.ttl);
    setAndVerify(fd, IPPROTO_IPV6, IPV6_TCLASS, tos);
    setAndVerify(fd, IPPROTO_IPV6, IPV6_MULTICAST_LOOP, 1);
    setIntOption(fd, IPPROTO_IPV6, IPV6_RECVERR, 1);
  }
}

/** Everything that a measuring socket tells beside the payload, and no group but those that it joins itself. */
export function setListenOptions(fd: number, group: IpAddress): void {
  setIntOption(fd, SOL_SOCKET, SO_TIMESTAMPNS, 1);
  setIntOption(fd, SOL_SOCKET, SO_RXQ_OVFL, 1);
  if (group.family === 4) {
    setAndVerify(fd, IPPROTO_IP, IP_MULTICAST_ALL, 0);
    setIntOption(fd, IPPROTO_IP, IP_PKTINFO, 1);
    setIntOption(fd, IPPROTO_IP, IP_RECVTTL, 1);
    setIntOption(fd, IPPROTO_IP, IP_RECVTOS, 1);
  } else {
    setIntOption(fd, IPPROTO_IPV6, IPV6_V6ONLY, 1);
    setAndVerify(fd, IPPROTO_IPV6, IPV6_MULTICAST_ALL, 0);
    setIntOption(fd, IPPROTO_IPV6, IPV6_RECVPKTINFO, 1);
    setIntOption(fd, IPPROTO_IPV6, IPV6_RECVHOPLIMIT, 1);
    setIntOption(fd, IPPROTO_IPV6, IPV6_RECVTCLASS, 1);
  }
}

/** Asks for the group; the kernel sends the report before it answers. @throws {SystemCallError} */
export const joinGroup = (fd: number, interfaceIndex: number, group: IpAddress, source: IpAddress | null): void =>
  changeMembership(fd, interfaceIndex, group, source, MCAST_JOIN_GROUP, MCAST_JOIN_SOURCE_GROUP);

/** @throws {SystemCallError} */
export const leaveGroup = (fd: number, interfaceIndex: number, group: IpAddress, source: IpAddress | null): void =>
  changeMembership(fd, interfaceIndex, group, source, MCAST_LEAVE_GROUP, MCAST_LEAVE_SOURCE_GROUP);

/** struct group_req and group_source_req (linux/in.h): 32-bit index, 4 bytes of padding, then 128 bytes per address. */
function changeMembership(
  fd: number,
  interfaceIndex: number,
  group: IpAddress,
  source: IpAddress | null,
  anySource: number,
  oneSource: number,
): void {
  const request = new ArrayBuffer(source === null ? 136 : 264);
  const view = new DataView(request);
  view.setUint32(0, interfaceIndex, true);
  writeSocketAddress(view, 8, group, 0, 0);
  if (source !== null) writeSocketAddress(view, 136, source, 0, 0);
  const level = group.family === 4 ? IPPROTO_IP : IPPROTO_IPV6;
  const option = source === null ? anySource : oneSource;
  checked(`setsockopt(${level}, ${option})`, libc().setsockopt(fd, level, option, request, request.byteLength));
}

function setAndVerify(fd: number, level: number, option: number, value: number): void {
  setIntOption(fd, level, option, value);
  const met = getIntOption(fd, level, option);
  if (met !== value) throw new Error(`Socket option ${level}/${option} was set to ${value} and reads ${met}`);
}
