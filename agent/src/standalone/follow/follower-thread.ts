import type { MessagePort } from "node:worker_threads";
import type { IpAddress } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import type { GroupSocket } from "../../sockets/group-socket.ts";
import { joinRefused } from "../../sockets/join-refused.ts";
import { SharedControl } from "../../workers/shared-control.ts";
import type { FollowSetup, FromFollower } from "./follow-protocol.ts";
import { FollowRun } from "./follow-run.ts";
import type { TrafficFollower } from "./traffic-follower.ts";

/** Where Linux and portable sockets differ. */
export interface FollowerPlatform {
  readonly follower: TrafficFollower;
  readonly clock: () => number;
  readonly toWall: (monotonicNs: number) => bigint;
  readonly open: (group: IpAddress, port: number, source: IpAddress | null) => GroupSocket | Promise<GroupSocket>;
  /** Arrivals count from `startNs`. */
  readonly startAt: (startNs: number) => void;
  readonly drive: (run: FollowRun, socket: GroupSocket) => void | Promise<void>;
}

/** Joins, follows and leaves one group; the thread ends after that. */
export async function followInThread(port: MessagePort, setup: FollowSetup, platform: FollowerPlatform): Promise<void> {
  const say = (message: FromFollower): void => port.postMessage(message);
  try {
    const socket = await platform.open(addressOf(setup.group), setup.port, nullable(setup.source));
    try {
      const startNs = platform.clock();
      platform.startAt(startNs);
      platform.follower.anchor(platform.toWall(startNs));
      join(socket, setup);
      say({ kind: "joined" });
      const control = new SharedControl(setup.control);
      const run = new FollowRun(socket, platform.follower, control, startNs, setup.durationNs, (report, isLast) =>
        say({ kind: isLast ? "last" : "second", report }),
      );
      await platform.drive(run, socket);
    } finally {
      socket.close();
    }
  } catch (cause) {
    const fault = cause instanceof Fault ? cause : new Fault("SOCKET_REFUSED", `Cannot listen: ${String(cause)}`, "");
    say({ kind: "refused", code: fault.code, message: fault.message, hint: fault.hint });
  }
}

function join(socket: GroupSocket, setup: FollowSetup): void {
  try {
    socket.join();
  } catch (cause) {
    throw joinRefused({ group: setup.group, ssmSource: setup.source }, setup.interfaceName, cause);
  }
}

function addressOf(text: string): IpAddress {
  const address = parseIpAddress(text);
  if (address === null)
    throw new Fault("ADDRESS_INVALID", `"${text}" is no IP address`, "Write, for example, 192.0.2.1");
  return address;
}

const nullable = (text: string | null): IpAddress | null => (text === null ? null : addressOf(text));
