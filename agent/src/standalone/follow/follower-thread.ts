import type { MessagePort } from "node:worker_threads";
import { listeningFault } from "../../receive/listening-fault.ts";
import { type ListenedGroup, openGroupSocket } from "../../receive/open-group-socket.ts";
import { PacketSorter } from "../../receive/packet-sorter.ts";
import type { Receiver } from "../../receive/receiver.ts";
import type { GroupSocket } from "../../sockets/group-socket.ts";
import { joinRefused } from "../../sockets/join-refused.ts";
import { SharedControl } from "../../workers/shared-control.ts";
import type { FollowSetup, FromFollower } from "./follow-protocol.ts";
import { FollowRun } from "./follow-run.ts";
import { TrafficFollower } from "./traffic-follower.ts";

/** Joins, follows and leaves one group; the thread ends after that. */
export async function followInThread(port: MessagePort, setup: FollowSetup, receiver: Receiver): Promise<void> {
  const say = (message: FromFollower): void => port.postMessage(message);
  try {
    const group: ListenedGroup = { group: setup.group, port: setup.port, ssmSource: setup.source };
    const follower = new TrafficFollower(receiver.seesHostDrops, receiver.slotBytes);
    const sorter = new PacketSorter(follower);
    const socket = await openGroupSocket(group, [], receiver.opener(sorter));
    try {
      const startNs = receiver.clock();
      receiver.startAt(startNs);
      sorter.anchor(receiver.toWall(startNs));
      join(socket, group, setup.interfaceName);
      say({ kind: "joined" });
      const control = new SharedControl(setup.control);
      const run = new FollowRun(socket, follower, control, startNs, setup.durationNs, (report, isLast) =>
        say({ kind: isLast ? "last" : "second", report }),
      );
      await receiver.drive(run, [socket]);
    } finally {
      socket.close();
    }
  } catch (cause) {
    const { code, message, hint } = listeningFault(cause);
    say({ kind: "refused", code, message, hint });
  }
}

function join(socket: GroupSocket, group: ListenedGroup, interfaceName: string): void {
  try {
    socket.join();
  } catch (cause) {
    throw joinRefused(group, interfaceName, cause);
  }
}
