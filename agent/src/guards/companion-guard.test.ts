import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES, DEFAULT_GUARDS, type Guards } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { GuardedStream } from "./guarded-stream.ts";
import { refuseTask } from "./guards.ts";
import { HostLoad } from "./host-load.ts";
import { refuseStream } from "./stream-guard.ts";

const HOSTS = ["192.168.7.0/24", "10.0.0.0/8", "172.16.0.0/12", "fd00::/8"];
const guards: Guards = { ...DEFAULT_GUARDS, allowSending: true, companionHosts: HOSTS };
const companion: GuardedStream = {
  streamId: 2,
  name: "companion to kiosk",
  port: 48_620,
  group: "192.168.7.20",
  rateBps: COMPANION_PACKETS_PER_SECOND * COMPANION_PAYLOAD_BYTES * 8,
  payloadBytes: COMPANION_PAYLOAD_BYTES,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
  companionOf: 1,
};
const refusal = (change: Partial<GuardedStream>, ofGuards = {}): string =>
  refuseStream({ ...companion, ...change }, { ...guards, ...ofGuards })?.message ?? "";

test("companion guard: given a slow companion to a host that is allowed, then it may go", () => {
  for (const group of ["192.168.7.20", "10.0.0.1", "172.31.255.254", "fd00::7"]) expect(refusal({ group })).toBe("");
});

test.each([
  ["a public address", { group: "198.51.100.7" }, {}, "go only to"],
  ["a group", { group: "239.195.1.1" }, {}, "a host's own address"],
  ["everybody", { group: "255.255.255.255" }, {}, "a host's own address"],
  ["faster packets", { rateBps: companion.rateBps + 1 }, {}, "slow"],
  ["larger packets", { payloadBytes: 1316 }, {}, "slow"],
  ["bursts", { burstPackets: 2 }, {}, "slow"],
  ["a TTL beyond the host's", { ttl: 17 }, {}, "TTL"],
  ["a DSCP beyond the host's", { dscp: 46 }, {}, "DSCP"],
  ["a host that sends nothing", {}, { allowSending: false }, "sending is off"],
  ["the port of a name server", { port: 53 }, {}, "the ports"],
  ["a registered port (RFC 6335 section 6)", { port: 5004 }, {}, "the ports"],
  ["a host that names no companion hosts", {}, { companionHosts: DEFAULT_GUARDS.companionHosts }, "go only to no host"],
  ["a host that allows no companion", {}, { companionHosts: [] }, "go only to no host"],
])("companion guard: given %s, then it is refused", (_, change, ofGuards, why) => {
  expect(refusal(change, ofGuards)).toContain(why);
});

test("companion guard: given a host's address for a stream that is no companion, then it is refused", () => {
  const { companionOf: _, ...stream } = companion;
  expect(refuseStream(stream, guards)?.message).toContain("no group address");
});

const { companionOf: _beside, ...shared } = companion;
const board: GuardedStream = { ...shared, streamId: 1, name: "board", group: "239.195.10.4" };
const load = (...streams: GuardedStream[]): string => {
  const host = new HostLoad(guards);
  return streams.map((stream) => host.put(stream)).find((refusal) => refusal !== null)?.message ?? "";
};
const to = (host: number, change: Partial<GuardedStream> = {}): GuardedStream => ({
  ...companion,
  streamId: 100 + host,
  group: `192.168.7.${host}`,
  ...change,
});

test("companion guard: given companions beside a stream that is sent, one to each host, then they may go", () => {
  expect(load(board, to(1), to(2))).toBe("");
  expect(load(board, { ...board, streamId: 3 }, to(1), to(1, { streamId: 9, companionOf: 3 }))).toBe("");
});

test.each([
  ["no stream is sent", [to(1)], "beside a stream"],
  ["another stream is sent", [{ ...board, streamId: 4 }, to(1)], "beside a stream"],
  ["it stands beside a companion", [board, to(1), to(2, { companionOf: 101 })], "beside a stream"],
  ["it stands beside itself", [board, to(1, { companionOf: 101 })], "beside a stream"],
  ["it goes to another port than its stream", [board, to(1, { port: 50_000 })], "port of its stream"],
  ["its host has one of that stream", [board, to(1), to(1, { streamId: 9 })], "one companion to a host"],
  // As in the attack: many to one host.
  [
    "there are many to one host",
    [board, ...Array.from({ length: 20 }, (_, i) => to(1, { streamId: 9 + i }))],
    "one companion",
  ],
  [
    "there are more than the host takes",
    [board, ...Array.from({ length: 33 }, (_, i) => to(i + 1))],
    "33 companions exceed 32",
  ],
])("companion guard: given that %s, then it is refused", (_, streams, why) => {
  expect(load(...streams)).toContain(why);
});

test("companion guard: given a task that would leave a companion without its stream, then it ends with the stream", () => {
  const streams = [
    { ...shared, streamId: 1, name: "board", group: "239.195.10.4", ssmSource: null },
    { ...shared, streamId: 101, group: "192.168.7.1", ssmSource: null, companionOf: 1 },
  ];
  const at = (atNs: number, kind: "emit" | "stop", streamId: number) => ({ atNs, kind, streamId });
  const rest = { runId: "0123456789abcdef", streams, endNs: 9e9, intervalNs: 1e9, holdNs: 5e9 };
  const message = (...actions: ReturnType<typeof at>[]): string =>
    refuseTask({ ...rest, actions }, guards)?.message ?? "";
  expect(message(at(0, "emit", 1), at(0, "emit", 101), at(1, "stop", 1), at(2, "stop", 101))).toBe("");
  expect(message(at(0, "emit", 101), at(0, "emit", 1))).toContain("beside a stream");
  expect(message(at(0, "emit", 1), at(1, "stop", 1), at(2, "emit", 101))).toContain("beside a stream");
});
