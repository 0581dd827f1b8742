import type { IpAddress } from "@dyetrace/wire";
import { checked, lastErrno, libc } from "./libc.ts";
import { addressFamily, addressLength, socketAddress } from "./socket-address.ts";

const SOCK_DGRAM = 2; // asm-generic/socket.h and linux/net.h
const SOCK_NONBLOCK = 0o4000; // linux/net.h
const SOCK_CLOEXEC = 0o2000000; // linux/net.h

export const SOL_SOCKET = 1; // asm-generic/socket.h
const SO_REUSEADDR = 2;
const SO_SNDBUF = 7;
const SO_RCVBUF = 8;
const SO_SNDBUFFORCE = 32;
const SO_RCVBUFFORCE = 33;
const SO_MEMINFO = 55; // asm-generic/socket.h
const SK_MEMINFO_DROPS = 8; // linux/sock_diag.h
const SK_MEMINFO_BYTES = 9 * 4;

/** A UDP socket that never blocks. @throws {SystemCallError} */
export function openUdpSocket(address: IpAddress): number {
  return checked("socket", libc().socket(addressFamily(address), SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
}

export const closeSocket = (fd: number): void => void libc().close(fd);

export function bindSocket(fd: number, address: IpAddress, port: number, scopeIndex: number): void {
  checked("bind", libc().bind(fd, socketAddress(address, port, scopeIndex), addressLength(address)));
}

export function connectSocket(fd: number, address: IpAddress, port: number, scopeIndex: number): void {
  checked("connect", libc().connect(fd, socketAddress(address, port, scopeIndex), addressLength(address)));
}

export function setIntOption(fd: number, level: number, option: number, value: number): void {
  const buffer = new ArrayBuffer(4);
  new DataView(buffer).setInt32(0, value, true);
  checked(`setsockopt(${level}, ${option})`, libc().setsockopt(fd, level, option, buffer, 4));
}

export function getIntOption(fd: number, level: number, option: number): number {
  const buffer = new ArrayBuffer(4);
  checked(`getsockopt(${level}, ${option})`, libc().getsockopt(fd, level, option, buffer, lengthBox(4)));
  return new DataView(buffer).getInt32(0, true);
}

export const reuseAddress = (fd: number): void => setIntOption(fd, SOL_SOCKET, SO_REUSEADDR, 1);

/**
 * Raises the receive buffer as far as the host allows: past `net.core.rmem_max` where the process may, up to it where not.
 * @returns the size that the kernel says it has, in its own counting (twice what was asked for, overhead included)
 */
export const raiseReceiveBuffer = (fd: number, wantedBytes: number): number =>
  raiseBuffer(fd, SO_RCVBUFFORCE, SO_RCVBUF, wantedBytes);

/** The same for sending, with `net.core.wmem_max`. */
export const raiseSendBuffer = (fd: number, wantedBytes: number): number =>
  raiseBuffer(fd, SO_SNDBUFFORCE, SO_SNDBUF, wantedBytes);

function raiseBuffer(fd: number, forced: number, plain: number, wantedBytes: number): number {
  try {
    setIntOption(fd, SOL_SOCKET, forced, wantedBytes);
  } catch {
    setIntOption(fd, SOL_SOCKET, plain, wantedBytes); // without CAP_NET_ADMIN: the kernel cuts it to its limit, in silence
  }
  return getIntOption(fd, SOL_SOCKET, plain);
}

/**
 * Packets that this socket's host dropped since it was opened: no room in the buffer, or a wrong checksum. Unlike the
 * count that rides on packets (SO_RXQ_OVFL) it needs no packet to arrive afterwards.
 * @returns null on a kernel older than 4.12, which does not say
 */
export function socketDrops(fd: number): number | null {
  const buffer = new ArrayBuffer(SK_MEMINFO_BYTES);
  const length = lengthBox(SK_MEMINFO_BYTES);
  if (libc().getsockopt(fd, SOL_SOCKET, SO_MEMINFO, buffer, length) < 0) return null;
  if (new DataView(length).getUint32(0, true) < SK_MEMINFO_BYTES) return null;
  return new DataView(buffer).getUint32(SK_MEMINFO_DROPS * 4, true);
}

/** @returns the error that the socket holds since the last look, 0 for none; looking clears it */
export function pendingError(fd: number): number {
  const SO_ERROR = 4; // asm-generic/socket.h
  try {
    return getIntOption(fd, SOL_SOCKET, SO_ERROR);
  } catch {
    return lastErrno();
  }
}

function lengthBox(length: number): ArrayBuffer {
  const box = new ArrayBuffer(4);
  new DataView(box).setUint32(0, length, true);
  return box;
}
