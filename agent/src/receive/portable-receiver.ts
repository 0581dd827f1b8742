import type { InterfaceSetup } from "../sockets/portable/multicast-interface.ts";
import { monotonicNs, wallOfMonotonic } from "../sockets/portable/portable-clock.ts";
import { PortableGroupSocket } from "../sockets/portable/portable-group-socket.ts";
import { drivePortableSockets } from "./drive-portable-sockets.ts";
import type { Receiver } from "./receiver.ts";

/** A datagram over IPv4 or IPv6 is no longer. */
const WHOLE_PACKETS = 65_536;

/** Portable: packets come as events, and the run-time hands them over whole. */
export function portableReceiver(setup: InterfaceSetup): Receiver {
  let beganNs = 0;
  const clock = (): number => monotonicNs() - beganNs;
  return {
    seesHostDrops: false,
    slotBytes: WHOLE_PACKETS,
    clock: monotonicNs,
    toWall: wallOfMonotonic,
    takeClockSteps: () => null,
    opener: (sink) => (group, port, source, streams) =>
      PortableGroupSocket.open(setup, sink, clock, group, port, source, streams),
    watcher: null,
    startAt: (startNs) => {
      beganNs = startNs;
    },
    drive: (run) => drivePortableSockets(run),
  };
}
