import { type AgentTask, DEFAULT_GUARDS, type Guards, type TaskStream } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { refuseTask } from "./guards.ts";

const OPEN: Guards = { ...DEFAULT_GUARDS, allowSending: true };

const stream = (changes: Partial<TaskStream> = {}): TaskStream => ({
  streamId: 1,
  name: "board",
  group: "239.195.10.4",
  port: 48_620,
  ssmSource: null,
  rateBps: 1e6,
  payloadBytes: 1316,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
  ...changes,
});

const task = (streams: readonly TaskStream[], actions: AgentTask["actions"], endNs = 60e9): AgentTask => ({
  runId: "0123456789abcdef",
  streams: [...streams],
  actions,
  endNs,
  intervalNs: 1e9,
  holdNs: 5e9,
});

const emit = (streamId: number, atNs = 0) => ({ atNs, kind: "emit" as const, streamId });

test("refuseTask: given the defaults of a host, then nothing may be sent, but joins are free", () => {
  expect(refuseTask(task([stream()], [emit(1)]), DEFAULT_GUARDS)?.code).toBe("GUARD_REFUSED");
  expect(refuseTask(task([stream()], [{ atNs: 0, kind: "join", streamId: 1 }]), DEFAULT_GUARDS)).toBeNull();
});

test.each([
  ["239.195.10.4", null], // organisation-local (RFC 2365 6.2)
  ["233.252.0.1", null], // documentation (RFC 6676)
  ["ff15::10:4", null],
  ["224.0.0.5", /224\.0\.0\.0\/24/], // OSPF routers (RFC 2328)
  ["224.0.1.129", /224\.0\.1\.0\/24/], // precision time (IANA registry)
  ["232.0.0.9", /232\.0\.0\.0\/24/], // RFC 4607 section 1
  ["239.255.255.250", /239\.255\.0\.0\/16/], // local scope (RFC 2365 6.1)
  ["238.128.0.5", /01:00:5e:00:00:05/], // low 23 bits of 224.0.0.5 (RFC 1112 6.4)
  ["ff02::fb", /ff02::\/16/], // link-local
  ["192.0.2.1", /no group/],
  ["no address", /no group/],
])("refuseTask: given the group %s on a host that may send, then %s", (group, reason) => {
  const refusal = refuseTask(task([stream({ group })], [emit(1)]), OPEN);
  if (reason === null) expect(refusal).toBeNull();
  else expect(refusal?.message).toMatch(reason);
});

test("refuseTask: given a narrow list of allowed groups, then only those, and a refused range of the host's own", () => {
  const narrow = { ...OPEN, allowedGroups: ["239.195.0.0/20", "ff15::/16"], refusedGroups: ["239.195.4.0/30"] };
  const refusal = (group: string) => refuseTask(task([stream({ group })], [emit(1)]), narrow)?.code ?? null;
  expect(refusal("239.195.15.255")).toBeNull();
  expect(refusal("239.195.16.0")).toBe("GUARD_REFUSED");
  expect(refusal("239.195.4.3")).toBe("GUARD_REFUSED");
  expect(refusal("239.195.4.4")).toBeNull();
  expect(refusal("ff15::1")).toBeNull();
  expect(refusal("ff16::1")).toBe("GUARD_REFUSED");
});

test("refuseTask: given streams that are each within the limit, then only those that run together count", () => {
  const streams = [stream(), stream({ streamId: 2, group: "239.195.10.5" })];
  const limit = { ...OPEN, maxRateBps: 1.5e6 };
  const stop = { atNs: 10e9, kind: "stop" as const, streamId: 1 };
  expect(refuseTask(task(streams, [emit(1), emit(2, 5e9)]), limit)?.message).toMatch(/2 Mbit\/s exceeds 1.5 Mbit\/s/);
  expect(refuseTask(task(streams, [emit(1), stop, emit(2, 10e9)]), limit)).toBeNull();
});

test("refuseTask: given a change of rate or size past a limit, then it is refused though the start was not", () => {
  const set = (changes: object) => task([stream()], [emit(1), { atNs: 1e9, kind: "set", streamId: 1, ...changes }]);
  expect(refuseTask(set({ rateBps: 9e6 }), OPEN)).toBeNull();
  expect(refuseTask(set({ rateBps: 11e6 }), OPEN)?.message).toMatch(/11 Mbit\/s exceeds 10 Mbit\/s/);
  expect(refuseTask(set({ payloadBytes: 100 }), OPEN)?.message).toMatch(/1250 packets\/s exceed 1000/);
});

test("refuseTask: given a task that lasts longer than the host sends, then it is refused if it sends", () => {
  const limit = { ...OPEN, maxDurationNs: 30e9 };
  expect(refuseTask(task([stream()], [emit(1)], 31e9), limit)?.code).toBe("GUARD_REFUSED");
  expect(refuseTask(task([stream()], [emit(1)], 30e9), limit)).toBeNull();
  expect(refuseTask(task([stream()], [{ atNs: 0, kind: "join", streamId: 1 }], 31e9), limit)).toBeNull();
});

test("refuseTask: given an action on a stream that the task does not describe, then it is no valid task", () => {
  expect(refuseTask(task([stream()], [emit(7)]), OPEN)?.code).toBe("MESSAGE_INVALID");
});
