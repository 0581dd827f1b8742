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
  ["ff02::fb", /link-local/],
  // The same scopes whatever the flags, and what no node may originate (RFC 4291 section 2.7, RFC 7346 section 2).
  ["ff12::1", /link-local/],
  ["ff12::8000:1", /link-local/],
  ["ff32::8000:1", /link-local/],
  ["ff11::8000:1", /interface-local/],
  ["ff10::8000:1", /scope 0/],
  ["ff1f::8000:1", /scope f/],
  // Assigned for good, in whatever scope (RFC 4291 section 2.7 with time servers, ::101, as its example).
  ["ff05::101", /assigned it for good/],
  ["ff08::101", /assigned it for good/],
  ["ff0e::101", /assigned it for good/],
  ["ff05::1:3", /assigned it for good/], // DHCP servers (RFC 8415 section 7.1)
  ["ff25::8000:1", /assigned it for good/], // P without T, which no group may have (RFC 3306 section 4)
  // On Ethernet the address of all nodes (RFC 2464 section 7).
  ["ff15::1", /33:33:00:00:00:01/],
  ["ff3e::db8:0:1", /33:33:00:00:00:01/],
  ["ff15::100", null],
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
  expect(refusal("ff15::100")).toBeNull();
  expect(refusal("ff16::100")).toBe("GUARD_REFUSED");
});

test("refuseTask: given ranges that the host refuses, then they come on top of the reserved ones, never in their place", () => {
  const own = { ...OPEN, refusedGroups: ["239.195.4.0/30"] };
  // Sent in the attack on a host whose file had a list of its own: precision time and service discovery.
  for (const group of ["239.195.4.1", "224.0.1.129", "239.255.255.250"]) {
    expect(refuseTask(task([stream({ group })], [emit(1)]), own)?.code, group).toBe("GUARD_REFUSED");
  }
});

test("refuseTask: given reserved groups that the host allows by name, then those, and no other, and not what it refuses itself", () => {
  const own = { ...OPEN, allowedReservedGroups: ["239.255.4.0/24", "ff05::/16"], refusedGroups: ["239.255.4.9"] };
  const refusal = (group: string) => refuseTask(task([stream({ group })], [emit(1)]), own)?.code ?? null;
  expect(["239.255.4.1", "ff05::1:3"].map(refusal)).toEqual([null, null]);
  for (const group of ["239.255.4.9", "239.255.5.1", "224.0.1.129", "ff08::1:3"]) expect(refusal(group)).not.toBeNull();
});

test("refuseTask: given a permanent IPv6 group or scope that the host refuses, then in every scope and with every flag (RFC 4291 section 2.7)", () => {
  const own = {
    ...OPEN,
    allowedReservedGroups: ["ff00::/12"],
    refusedGroups: ["ff05::1234", "ff08::/16", "ff15::77:0/112"],
  };
  const refusal = (group: string) => refuseTask(task([stream({ group })], [emit(1)]), own)?.code ?? null;
  for (const group of ["ff05::1234", "ff0e::1234", "ff15::1234", "ff08::9999", "ff18::9999", "ff15::77:1"]) {
    expect(refusal(group), group).toBe("GUARD_REFUSED");
  }
  // Another id; and a transient group means something in its own scope alone.
  for (const group of ["ff05::1235", "ff15::1235", "ff1e::77:1"]) expect(refusal(group), group).toBeNull();
});

test("refuseTask: given a system port, or one outside the host's list, then nothing is sent or heard there", () => {
  const heard = (port: number, guards: Guards) =>
    refuseTask(task([stream({ port })], [{ atNs: 0, kind: "join", streamId: 1 }]), guards)?.hint ?? null;
  const sent = (port: number, guards: Guards) => refuseTask(task([stream({ port })], [emit(1)]), guards)?.hint ?? null;
  for (const [port, guards] of [
    [53, OPEN],
    [1023, OPEN],
    [48_621, { ...OPEN, allowedPorts: ["48620", "50000-50010"] }],
    [49_999, { ...OPEN, allowedPorts: ["48620", "50000-50010"] }],
  ] as const) {
    expect(sent(port, guards)).toContain("allowed-ports");
    expect(heard(port, guards)).toContain("allowed-ports");
  }
  for (const port of [48_620, 50_000, 50_010]) {
    expect(sent(port, { ...OPEN, allowedPorts: ["48620", "50000-50010"] })).toBeNull();
  }
  expect([sent(1024, OPEN), heard(65_535, OPEN)]).toEqual([null, null]);
});

test("refuseTask: given a hold time beyond the host's, then it is refused if it sends", () => {
  const holding = (holdNs: number, actions: AgentTask["actions"] = [emit(1)]) =>
    refuseTask({ ...task([stream()], actions), holdNs }, OPEN)?.hint ?? null;
  expect(holding(600e9)).toBeNull();
  expect(holding(601e9)).toContain("max-hold");
  expect(holding(1e18, [{ atNs: 0, kind: "join", streamId: 1 }])).toBeNull();
});

test("refuseTask: given more joins than the host takes, groups outside its list, or what is no group, then nothing is joined", () => {
  const joins = (groups: readonly string[], guards = DEFAULT_GUARDS) =>
    refuseTask(
      task(
        groups.map((group, streamId) => stream({ group, streamId })),
        groups.map((_, streamId) => ({ atNs: 0, kind: "join", streamId })),
      ),
      guards,
    );
  const many = (count: number) => Array.from({ length: count }, (_, i) => `239.195.${i >> 8}.${i & 255}`);
  expect(joins(many(256))).toBeNull();
  expect(joins(many(257))?.hint).toContain("max-joins");
  expect(joins(many(4096))?.hint).toContain("max-joins"); // as in the attack: 651 MB
  expect(
    joins(["239.195.1.1", "239.196.1.1"], { ...DEFAULT_GUARDS, allowedJoins: ["239.195.0.0/16"] })?.hint,
  ).toContain("allowed-joins");
  expect(joins(["192.0.2.1"])?.message).toContain("no group address");
  expect(joins(["nonsense"])?.code).toBe("ADDRESS_INVALID");
});

test("refuseTask: given a stream of others to follow, then the task may join and send nothing at all, within the host's own list", () => {
  const join = { atNs: 0, kind: "join" as const, streamId: 1 };
  const other = stream({ production: { format: null, namesPerInterval: 1000 }, port: 5004 });
  expect(refuseTask(task([other], [join]), DEFAULT_GUARDS)).toBeNull();
  const both = task([other, stream({ streamId: 2 })], [join, emit(2)]);
  expect(refuseTask(both, OPEN)?.message).toContain("send anything in a run that follows");
  expect(refuseTask(task([other], [emit(1)]), OPEN)?.code).toBe("GUARD_REFUSED");
  const few = { ...DEFAULT_GUARDS, allowedFollows: ["239.195.0.0/16"] };
  expect(refuseTask(task([{ ...other, group: "239.196.4.7" }], [join]), few)?.hint).toContain("allowed-follows");
  expect(refuseTask(task([{ ...other, group: "224.0.0.251" }], [join]), DEFAULT_GUARDS)?.code).toBe("GUARD_REFUSED");
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

test("refuseTask: given tens of thousands of actions, then how many streams there are changes little of the time it takes", () => {
  // A main thread that was busy for minutes with this heard no order to stop.
  const wide = { ...OPEN, maxStreams: 4096, maxRateBps: 1e12, maxPacketsPerSecond: 1e9 };
  const took = (count: number): number => {
    const streams = Array.from({ length: count }, (_, streamId) => stream({ streamId }));
    const actions = Array.from({ length: 20_000 }, (_, i) => ({
      ...{ atNs: 0, streamId: i % count, rateBps: 1e5 },
      kind: i < count ? ("emit" as const) : ("set" as const),
    }));
    const one = task(streams, actions);
    const began = performance.now();
    expect(refuseTask(one, wide)).toBeNull();
    return performance.now() - began;
  };
  // The quickest of several: whatever else the machine does meanwhile only adds to a time.
  const least = (count: number): number => Math.min(...Array.from({ length: 5 }, () => took(count)));
  expect(least(4096) / least(64)).toBeLessThan(16); // in step with the streams it would be 64
});
