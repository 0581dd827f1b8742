import { lastErrno, libc, SystemCallError } from "./libc.ts";
import { closeSocket, openUdpSocket } from "./socket.ts";

const SIOCGIFFLAGS = 0x8913; // linux/sockios.h, as the others
const SIOCGIFMTU = 0x8921;
const SIOCGIFHWADDR = 0x8927;
const SIOCGIFINDEX = 0x8933;
const IFREQ_BYTES = 40; // struct ifreq (linux/if.h): 16 bytes of name, then a union of 24
const IFF_UP = 1 << 0; // linux/if.h
const IFF_RUNNING = 1 << 6;
const IFF_MULTICAST = 1 << 12;
const ENODEV = 19; // asm-generic/errno-base.h

export interface InterfaceFlags {
  readonly isUp: boolean;
  readonly isRunning: boolean;
  readonly canMulticast: boolean;
}

export interface QueriedInterface {
  readonly index: number;
  readonly mtuBytes: number;
  readonly mac: string;
  readonly flags: InterfaceFlags;
}

/**
 * Asks the kernel rather than /sys, which shows the interfaces of the namespace in which it was mounted and not always
 * ours.
 * @returns null if this host has no such interface
 */
export function queryInterface(name: string): QueriedInterface | null {
  if (name === "" || Buffer.byteLength(name) > 15) return null;
  const fd = openUdpSocket({ family: 4, bytes: new Uint8Array(4) });
  try {
    const ask = (request: number): DataView | null => {
      const ifreq = new ArrayBuffer(IFREQ_BYTES);
      new Uint8Array(ifreq).set(Buffer.from(name, "utf8"));
      if (libc().ioctl(fd, request, ifreq) === 0) return new DataView(ifreq, 16);
      const errno = lastErrno();
      if (errno === ENODEV) return null;
      throw new SystemCallError("ioctl", errno);
    };
    const index = ask(SIOCGIFINDEX);
    const mtu = ask(SIOCGIFMTU);
    const hardware = ask(SIOCGIFHWADDR);
    const flags = ask(SIOCGIFFLAGS)?.getUint16(0, true);
    if (index === null || mtu === null || hardware === null || flags === undefined) return null;
    return {
      index: index.getInt32(0, true),
      mtuBytes: mtu.getInt32(0, true),
      mac: Array.from({ length: 6 }, (_, i) =>
        hardware
          .getUint8(2 + i)
          .toString(16)
          .padStart(2, "0"),
      ).join(":"),
      flags: {
        isUp: (flags & IFF_UP) !== 0,
        isRunning: (flags & IFF_RUNNING) !== 0,
        canMulticast: (flags & IFF_MULTICAST) !== 0,
      },
    };
  } finally {
    closeSocket(fd);
  }
}
