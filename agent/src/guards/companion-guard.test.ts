import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES, DEFAULT_GUARDS } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { GuardedStream } from "./guarded-stream.ts";
import { refuseStream } from "./guards.ts";

const guards = { ...DEFAULT_GUARDS, allowSending: true };
const companion: GuardedStream = {
  name: "companion to kiosk",
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

test("companion guard: given a slow companion to a private address (RFC 1918), then it may go", () => {
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
  ["a host that allows no companion", {}, { companionHosts: [] }, "go only to no host"],
])("companion guard: given %s, then it is refused", (_, change, ofGuards, why) => {
  expect(refusal(change, ofGuards)).toContain(why);
});

test("companion guard: given a host's address for a stream that is no companion, then it is refused", () => {
  const { companionOf: _, ...stream } = companion;
  expect(refuseStream(stream, guards)?.message).toContain("no group address");
});
