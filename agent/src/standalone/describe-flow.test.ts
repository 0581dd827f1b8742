import { expect, test } from "vitest";
import { describeFlow, nameFlow } from "./describe-flow.ts";
import { type FlowReport, joinFlowReports } from "./follow/flow-report.ts";

const FLOW: FlowReport = {
  kind: "test",
  name: "run 0123456789abcdef stream 1",
  source: "192.0.2.1",
  packets: 990,
  bytes: 125_000,
  lost: 10,
  isLostExact: true,
  hostLost: 4,
  duplicates: 0,
  reordered: 0,
  longestGapNs: null,
  jitterNs: 12_000,
  longestSilenceNs: 5e6,
  ttlMin: 7,
  ttlMax: 7,
  dscps: [34],
  otherSenderPackets: 0,
  senderRestarts: 0,
};

test("describeFlow: given loss of which this host caused a part, then the two are told apart", () => {
  expect(describeFlow(FLOW, 1e9, true)).toBe(
    "1 Mbit/s  990 packets/s  lost 6 (0.6 %)  lost by this host 4  jitter 12 µs  longest silence 5 ms  TTL 7  DSCP 34",
  );
});

test("describeFlow: given counters that are too short to be sure, then loss is a lower bound; without numbers it is unknown", () => {
  const ts = { ...FLOW, kind: "ts" as const, isLostExact: false, hostLost: null };
  expect(describeFlow(ts, 1e9, true)).toMatch(/at least 10 lost/);
  expect(describeFlow({ ...ts, kind: "other", lost: null }, 1e9, true)).toMatch(/loss unknown/);
});

test("nameFlow: given a flow with neither name nor source, then what it is", () => {
  expect(nameFlow(FLOW)).toBe("test stream run 0123456789abcdef stream 1 from 192.0.2.1");
  expect(nameFlow({ ...FLOW, kind: "other", name: "", source: null })).toBe("unnumbered traffic");
});

test("joinFlowReports: given two seconds, then counts add up, extremes stay, and the unknown stays unknown", () => {
  const later = {
    ...FLOW,
    packets: 10,
    lost: 0,
    hostLost: null,
    ttlMin: 5,
    dscps: [0],
    jitterNs: null,
    longestSilenceNs: 9e6,
  };
  const joined = joinFlowReports(FLOW, later);
  expect(joined).toMatchObject({
    packets: 1000,
    lost: 10,
    ttlMin: 5,
    ttlMax: 7,
    dscps: [0, 34],
    longestSilenceNs: 9e6,
  });
  expect(joined).toMatchObject({ hostLost: null, jitterNs: 12_000 });
});
