import type { OpenPacketSocket } from "../sockets/linux/packet-socket.ts";
import type { MembershipHistory } from "./membership-log.ts";

/** A watch without a run, for another thread to go on with: nothing is missed, and nothing is heard twice. */
export interface HandedWatch {
  readonly socket: OpenPacketSocket;
  readonly history: MembershipHistory;
  readonly sinceNs: number | null;
}
