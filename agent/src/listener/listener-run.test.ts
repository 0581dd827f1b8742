import type { ListenerInterval } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { ForeignRecord } from "../sockets/foreign-record.ts";
import type { GroupSocket } from "../sockets/group-socket.ts";
import { ListenedStream } from "../sockets/listened-stream.ts";
import { SharedControl } from "../workers/shared-control.ts";
import { ListenerRun } from "./listener-run.ts";

const STREAM = {
  ...{ streamId: 1, name: "tv", group: "239.196.4.7", port: 5004, ssmSource: null, rateBps: 1e6, payloadBytes: 1316 },
  ...{ ttl: 1, dscp: 0, burstPackets: 1, production: { format: null, namesPerInterval: 100 } },
};

/** A packet of its own every 10 ms, for 6 s; the host's program is a member from 1 s to 3.95 s. */
function watch(): ListenerInterval[] {
  let nowNs = 0;
  const stream = new ListenedStream(STREAM, 1e9, true);
  const isMember = (): boolean => nowNs >= 1e9 && nowNs < 3.95e9;
  const refuse = (): never => {
    throw new Error("nothing is joined");
  };
  const socket: GroupSocket = {
    ...{ streams: [stream], foreign: new ForeignRecord(), join: refuse, leave: () => undefined },
    ...{ drain: () => undefined, drops: () => 0, close: () => undefined },
    watch: { isMember, takeUnreadFrames: () => 0 },
  };
  const told: ListenerInterval[] = [];
  const run = new ListenerRun(
    {
      task: { runId: "0123456789abcdef", streams: [STREAM], actions: [], endNs: 6e9, intervalNs: 1e9, holdNs: 5e9 },
      ...{ sockets: [socket], control: new SharedControl(), clock: () => nowNs, takeClockSteps: () => 0 },
      onInterval: ({ listeners }) => told.push(...listeners),
      onJoinRefused: refuse,
    },
    0,
  );
  for (; !run.isOver; nowNs += 10e6) {
    run.step(nowNs);
    const payload = Uint8Array.from({ length: 100 }, (_, at) => (nowNs / 10e6 / (at + 1)) & 255);
    stream.follow(payload, 0, 100, 100, nowNs, 5, 0, () => "10.0.0.9");
  }
  return told;
}

test("ListenerRun: given a program of the host that joins and leaves, then its stay is told apart from what came unasked", () => {
  const told = watch();
  const stays = new Map(told.map((one) => [one.memberships[0]?.joinRequestedNs, one]));
  expect([...stays.values()].map(({ watched }) => watched?.isMember)).toEqual([false, true, false]);
  const [before, member, after] = [...stays.values()].map(({ memberships: [stay] }) => stay);
  expect(before).toMatchObject({ joinRequestedNs: 0, leaveRequestedNs: 1e9 });
  expect(member?.joinRequestedNs).toBe(1e9);
  // It ends at the last look that found it, 100 ms before the next at most.
  expect(member?.leaveRequestedNs).toBeGreaterThanOrEqual(3.85e9);
  expect(member?.leaveRequestedNs).toBeLessThan(3.95e9);
  expect(after?.joinRequestedNs).toBeGreaterThanOrEqual(3.95e9);
  const receivedIn = (isMember: boolean): number =>
    told.reduce((sum, one) => sum + (one.watched?.isMember === isMember ? (one.receipt?.received ?? 0) : 0), 0);
  expect(receivedIn(true)).toBeGreaterThan(280);
  expect(receivedIn(true) + receivedIn(false)).toBe(600);
});
