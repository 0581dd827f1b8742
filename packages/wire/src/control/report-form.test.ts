import { expect, test } from "vitest";
import { parseAs } from "../parse-message.ts";
import { type IntervalReport, IntervalReportSchema } from "./interval-report-schema.ts";
import type { StreamReceiptMessage } from "./receipt-schema.ts";
import { completeReport, shortenReport } from "./report-form.ts";

/** A second of 200 packets/s in which nothing happened. */
const QUIET: StreamReceiptMessage = {
  isFirst: false,
  isFinal: false,
  received: 200,
  receivedBytes: 263_200,
  firstCopies: 200,
  duplicates: 0,
  duplicatedPackets: 0,
  latePackets: 0,
  reordered: 0,
  reorderExtentSum: 0,
  reorderExtentMax: 0,
  reorderLateMaxNs: 0,
  lost: 0,
  hostDrops: 0,
  hostLost: 0,
  lossPeriods: 0,
  longestLossPeriod: 0,
  longestGap: null,
  longestSilence: { startNs: 5_010_167_244, durationNs: 10_042_547 },
  firstArrivalNs: 5_000_171_620,
  lastArrivalNs: 5_995_189_668,
  spans: [{ senderId: 7, firstSeq: 1000, endSeq: 1200, lost: [], coarse: [] }],
  spansOmitted: 0,
  jitterNs: 14_770.4,
  jitterMaxNs: 690_620.4,
  pdvNs: { count: 0, sum: 0, min: null, max: null, bins: [] },
  delayFactorMaxNs: 10_021_188,
  mediaLossMaxPps: 0,
  ttlMin: 8,
  ttlMax: 8,
  dscpSeen: [[34, 200]],
  senderRestarts: 0,
  otherSenderPackets: 0,
};

/** One with everything that can happen, and what this platform can't tell. */
const ROUGH: StreamReceiptMessage = {
  ...QUIET,
  isFirst: true,
  isFinal: true,
  duplicates: 3,
  duplicatedPackets: 2,
  latePackets: 1,
  reordered: 4,
  reorderExtentSum: 9,
  reorderExtentMax: 5,
  reorderLateMaxNs: 20_000,
  lost: 12,
  hostDrops: null,
  hostLost: null,
  lossPeriods: 2,
  longestLossPeriod: 10,
  longestGap: { startNs: null, durationNs: 4e6 },
  spans: [
    { senderId: null, firstSeq: 0, endSeq: 40, lost: [[3, 2, 1.5e9, 2e7, 0]], coarse: [[10, 20, null, null, 0, 10]] },
    { senderId: 9, firstSeq: 0, endSeq: 5, lost: [], coarse: [] },
  ],
  spansOmitted: 2,
  pdvNs: {
    count: 9,
    sum: 47,
    min: -5,
    max: 900_000,
    bins: [
      [-5, 1],
      [0, 4],
      [1, 1],
      [480, 3],
    ],
  },
  delayFactorMaxNs: null,
  mediaLossMaxPps: null,
  senderRestarts: 1,
  otherSenderPackets: 8,
};

const MEMBERSHIP = { joinRequestedNs: -5, firstPacketNs: null, lastPacketNs: 9e8, leaveRequestedNs: null };
const NO_FOREIGN = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
const HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 7,
  interfaceRxErrors: null,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 1,
  wallClockSteps: null,
};

const listener = (receipt: StreamReceiptMessage | null, changes = {}): IntervalReport["listeners"][number] => ({
  streamId: 1,
  receipt,
  memberships: [MEMBERSHIP],
  hostLostPackets: 0,
  socketStreams: 1,
  foreign: NO_FOREIGN,
  ...changes,
});

const REPORT: IntervalReport = {
  fromNs: 5e9,
  toNs: 6e9,
  listeners: [
    listener(QUIET),
    listener(null, { hostLostPackets: null }),
    listener(ROUGH, {
      hostLostPackets: 4,
      socketStreams: 2,
      foreign: { ...NO_FOREIGN, misdirectedPackets: 3, sources: ["192.0.2.9"] },
    }),
  ],
  senders: [],
  host: HOST,
  sourcesStopped: null,
  totals: { listeners: [listener(ROUGH), listener(QUIET)], senders: [], hostBlocks: [{ streamId: 1, why: null }] },
};

test("shortenReport: given any receipts, then completeReport gives them back from JSON, and they meet the schema", () => {
  const written = JSON.stringify(shortenReport(REPORT));
  const read = completeReport(JSON.parse(written));
  expect(read).toEqual(REPORT);
  expect(parseAs(IntervalReportSchema, read, "MESSAGE_INVALID", "the report")).toEqual(REPORT);
  expect(completeReport(JSON.parse(JSON.stringify(REPORT)))).toEqual(REPORT); // written in full it is the same
});

test("shortenReport: given a quiet second, then nothing that stands at rest is written", () => {
  const [entry] = (shortenReport({ ...REPORT, listeners: [listener(QUIET)] }) as { listeners: object[] }).listeners;
  expect(entry).toEqual({
    streamId: 1,
    memberships: [MEMBERSHIP],
    receipt: {
      received: 200,
      receivedBytes: 263_200,
      firstCopies: 200,
      longestSilence: QUIET.longestSilence,
      firstArrivalNs: QUIET.firstArrivalNs,
      lastArrivalNs: QUIET.lastArrivalNs,
      spans: [{ senderId: 7, firstSeq: 1000, endSeq: 1200 }],
      jitterNs: 14_770.4,
      jitterMaxNs: 690_620.4,
      delayFactorMaxNs: 10_021_188,
      ttlMin: 8,
      ttlMax: 8,
      dscpSeen: [[34, 200]],
    },
  });
});

test("completeReport: given a report of protocol 3, then its figures are in today's form and those that are no more are gone", () => {
  const { delayFactorMaxNs: _none, ...same } = ROUGH;
  const burstGap = { expected: 5, lost: 0, lead: 5, tail: 5, first: null, last: null, bursts: 0 };
  const earlier = {
    ...same,
    fromNs: 5e9,
    toNs: 6e9,
    headLost: null,
    tailLost: null,
    reorderLateSumNs: 40_000,
    spans: same.spans.map((span) => ({ ...span, burstGap })),
    ipdvNs: same.pdvNs,
    delayFactor: { latestNs: 1e6, maxNs: 3e6, sumNs: 4e6, intervals: 2 },
    unicastFrames: 0,
    knownFrames: 0,
    foreignPackets: 0,
    malformedPackets: 0,
    truncatedPackets: 0,
  };
  const membership = { ...MEMBERSHIP, joinedNs: -4, joinRequestedWall: "0" };
  const report = {
    ...REPORT,
    index: 5,
    listeners: [{ ...listener(null), receipt: earlier, memberships: [membership] }],
  };
  const read = parseAs(IntervalReportSchema, completeReport(report), "MESSAGE_INVALID", "the report");
  expect(read.listeners[0]?.receipt).toEqual({ ...ROUGH, delayFactorMaxNs: 3e6 });
});

test.each([
  { name: "no object", report: 7 },
  { name: "nothing", report: undefined },
  { name: "lists that are none", report: { listeners: "x", host: 3, totals: [] } },
  { name: "a listener that is none", report: { ...REPORT, listeners: [null, 4] } },
  { name: "a receipt that is none", report: { ...REPORT, listeners: [listener("x" as never)] } },
  { name: "a receipt without its counts", report: { ...REPORT, listeners: [listener({} as never)] } },
  { name: "spans that are none", report: { ...REPORT, listeners: [listener({ ...QUIET, spans: [1] } as never)] } },
  { name: "a distribution that is no text of numbers", report: withBins("a,b") },
  { name: "a distribution with broken counts", report: withBins("1x2.5,3x") },
  { name: "a distribution with a bucket out of range", report: withBins("2000,2000") },
])("completeReport: given $name, then it throws nothing, and the schema finds it", ({ report }) => {
  expect(() => parseAs(IntervalReportSchema, completeReport(report), "MESSAGE_INVALID", "the report")).toThrow(
    "the report",
  );
});

function withBins(bins: string): unknown {
  const receipt = { ...QUIET, pdvNs: { sum: 1, min: 0, max: 1, bins } } as never;
  return { ...REPORT, listeners: [listener(receipt)] };
}
