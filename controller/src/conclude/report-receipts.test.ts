import { StreamTracker } from "@dyetrace/measure";
import { loadSitePlan } from "@dyetrace/site";
import { type IntervalReport, type ListenerInterval, loadScenario, type ReportReceipt } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { NO_HOST_COUNTERS } from "../../../tests/simulation/quiet-host.ts";
import { accountOfRun } from "../account/run-account.ts";
import type { AgentEvidence, RunEvidence } from "../account/run-evidence.ts";
import { observeRun } from "../observe/observe.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { reportReceipts } from "./report-receipts.ts";

const GRAPH = loadSitePlan(
  `
site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`,
  "plan.yaml",
);

/** 100 packets/s from 1 s to 11 s: number n leaves at 1 s + n x 10 ms. */
function compile(timeline: string, expectations: string): CompiledRun {
  const text = `
scenario: stays
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B } ]
timeline: [ ${timeline}, { at: 1s, emit: board }, { at: 11s, stop: board } ]
expect: { ${expectations} }
`;
  return compileScenario("00000000000000aa", loadScenario(text, "s.yaml").scenario, GRAPH, new Map());
}

const SENT = 1000;
const SENDER = 7;
const sentNs = (seq: number): number => 1e9 + seq * 1e7;

/** What an agent said in one report at the end of the run. */
function evidenceOf(agent: string, said: Partial<IntervalReport>): AgentEvidence {
  const report: IntervalReport = {
    fromNs: 0,
    toNs: 12e9,
    listeners: [],
    senders: [],
    host: NO_HOST_COUNTERS,
    sourcesStopped: null,
    totals: { listeners: [], senders: said.senders ?? [] },
    ...said,
  };
  return { agent, reports: [report], watch: [], final: report, clock: null, lostAtNs: null, troubles: [] };
}

/** The source's report: all its numbers, with its own count. */
const TOWER = evidenceOf("tower", {
  fromNs: 1e9,
  toNs: 11e9,
  senders: [
    {
      streamId: 1,
      senderId: SENDER,
      sentPackets: SENT,
      sentBytes: SENT * 100,
      firstSeq: 0,
      lastSeq: SENT - 1,
      sendErrors: { enobufs: 0, eagain: 0, other: 0 },
      lastError: null,
      skippedPackets: 0,
      pacing: null,
      stalls: [],
    },
  ],
});

interface Told {
  readonly joinS: number;
  readonly leaveS: number;
  /** Numbers that came, ascending, and who sent them. */
  readonly came: readonly { readonly seq: number; readonly senderId?: number }[];
  /** Packets that the socket dropped, told with the packet of this number. */
  readonly hostDrops?: { readonly atSeq: number; readonly packets: number };
}

function stay({ joinS, leaveS, came, hostDrops }: Told): ListenerInterval {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
  for (const { seq, senderId = SENDER } of came) {
    if (seq === hostDrops?.atSeq) tracker.noteHostDrops(hostDrops.packets, sentNs(seq));
    tracker.record(seq, 0, sentNs(seq), 100, senderId, 1, 0);
  }
  return {
    streamId: 1,
    receipt: tracker.finish(),
    memberships: [
      {
        joinRequestedNs: joinS * 1e9,
        firstPacketNs: null,
        lastPacketNs: null,
        leaveRequestedNs: leaveS * 1e9,
      },
    ],
    hostLostPackets: null,
    socketStreams: 1,
    foreign: {
      foreignPackets: 0,
      malformedPackets: 0,
      otherRunPackets: 0,
      otherStreamPackets: 0,
      misdirectedPackets: 0,
      sources: [],
    },
  };
}

const evidence = (stays: readonly Told[], source = TOWER): RunEvidence => ({
  startedAt: new Date(0),
  endedAt: new Date(12_000),
  agents: new Map([
    ["tower", source],
    ["kiosk", evidenceOf("kiosk", { listeners: stays.map(stay) })],
  ]),
  absent: [],
  isAborted: false,
  stopReason: null,
  isComplete: true,
});

function receiptOf(run: CompiledRun, told: readonly Told[], source = TOWER): ReportReceipt {
  const [receipt] = reportReceipts(accountOfRun(run, evidence(told, source)));
  if (receipt === undefined) throw new Error("The run has a listener");
  return receipt;
}

const range = (first: number, last: number): { seq: number }[] =>
  Array.from({ length: last - first + 1 }, (_, i) => ({ seq: first + i }));

/** Packets that the gaps of a receipt miss together. */
const inGaps = ({ gaps }: ReportReceipt): number => gaps.reduce((sum, { count }) => sum + count, 0);

const ALL_RUN = compile("{ at: 0s, join: board }", "loss: 0 %");
const ALL_RUN_WARM = compile("{ at: 0s, join: board }", "loss: 0 %, warm-up: 2s");
const TWICE_WARM = compile(
  "{ at: 0s, join: board, agents: [kiosk] }, { at: 5s, leave: board, agents: [kiosk] }, { at: 6s, join: board, agents: [kiosk] }",
  "loss: 0 %, warm-up: 1s",
);

test("reportReceipts: given losses in the middle and at both ends, then the gaps miss just the packets that are lost", () => {
  const receipt = receiptOf(ALL_RUN, [{ joinS: 0, leaveS: 12, came: [...range(10, 399), ...range(450, 979)] }]);
  expect(receipt).toMatchObject({ sent: 1000, lost: 80, received: 920 });
  expect(receipt.gaps.map(({ firstSeq, count }) => [firstSeq, count])).toEqual([
    [0, 10],
    [400, 50],
    [980, 20],
  ]);
  // From number 399 at 4.99 s to number 450 at 5.5 s.
  expect(receipt.longestGapMs).toBe(510);
});

test("reportReceipts: given a gap over the end of the warm-up, then what of it counts as lost counts as a gap too", () => {
  // The stream starts at 1 s, so numbers 0 to 199 are warm-up; 190 to 239 are missing.
  const receipt = receiptOf(ALL_RUN_WARM, [{ joinS: 0, leaveS: 12, came: [...range(0, 189), ...range(240, 999)] }]);
  expect(receipt).toMatchObject({ sent: 800, lost: 40, warmUpLost: 10 });
  expect(receipt.gaps).toMatchObject([{ firstSeq: 200, count: 40 }]);
  // 510 ms from number 189 to number 240, of which 40 of 50 packets' share.
  expect(receipt.longestGapMs).toBeCloseTo(408);
});

test("reportReceipts: given two stays with a warm-up each, then a gap of the first one is not taken for the second one's warm-up", () => {
  const receipt = receiptOf(TWICE_WARM, [
    { joinS: 0, leaveS: 5, came: [...range(0, 199), ...range(230, 398)] },
    { joinS: 6, leaveS: 12, came: range(503, 999) },
  ]);
  expect(receipt).toMatchObject({ stays: 2, lost: 30, warmUpLost: 0 });
  expect(receipt.gaps).toMatchObject([{ firstSeq: 200, count: 30 }]);
  expect(receipt.longestGapMs).toBe(310);
});

test("reportReceipts: given a source that began anew, then neither lost packets nor gaps of its earlier numbers count", () => {
  const [sender] = TOWER.reports[0]?.senders ?? [];
  if (sender === undefined) throw new Error("the source tells of one stream");
  const again = { ...sender, senderId: 8 };
  const source = evidenceOf("tower", { fromNs: 1e9, toNs: 11e9, senders: [{ ...sender, sentPackets: 0 }, again] });
  const restarted = {
    ...source,
    final: { ...(source.final as IntervalReport), totals: { listeners: [], senders: [again] } },
  };
  const receipt = receiptOf(
    ALL_RUN,
    [
      {
        joinS: 0,
        leaveS: 12,
        // Of the earlier sender 20 to 59 are missing; the later one is heard from 100 on, half a second on.
        came: [
          ...range(0, 19).map(({ seq }) => ({ seq })),
          ...range(60, 69).map(({ seq }) => ({ seq })),
          ...range(100, 999).map(({ seq }) => ({ seq, senderId: 8 })),
        ],
      },
    ],
    restarted,
  );
  expect(inGaps(receipt)).toBe(receipt.lost);
  expect(receipt.gaps.map(({ firstSeq, count }) => [firstSeq, count])).toEqual([[0, 100]]);
});

test("reportReceipts: given more gaps than a listener lists one by one, then what came between them is not lost", () => {
  // 2048 gaps of one interval are listed (packages/measure, INTERVAL_RANGES); the rest are outlines of several.
  const packets = 12_000;
  const text = `
scenario: torn
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 800 kbit/s, payload: 100 B } ]
timeline: [ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 13s, stop: board } ]
`;
  const run = compileScenario("00000000000000aa", loadScenario(text, "s.yaml").scenario, GRAPH, new Map());
  const [sender] = TOWER.reports[0]?.senders ?? [];
  if (sender === undefined) throw new Error("the source tells of one stream");
  const source = evidenceOf("tower", {
    fromNs: 1e9,
    toNs: 13e9,
    senders: [{ ...sender, sentPackets: packets, sentBytes: packets * 100, lastSeq: packets - 1 }],
  });
  const came = range(0, packets - 1).filter(({ seq }) => seq % 4 !== 1);
  const told = [{ joinS: 0, leaveS: 14, came }];
  const receipt = receiptOf(run, told, source);
  expect(receipt).toMatchObject({ sent: packets, lost: packets / 4, received: (packets * 3) / 4 });
  expect(receipt.longestGapMs).toBe(20); // one packet of every 10 ms is missing
  const [listener] = observeRun(accountOfRun(run, evidence(told, source)), GRAPH).listeners;
  expect(listener?.isLostListExact).toBe(false);
});

test("reportReceipts: given packets that the host dropped in the warm-up, then they are not taken off what the network lost after it", () => {
  const receipt = receiptOf(ALL_RUN_WARM, [
    {
      joinS: 0,
      leaveS: 12,
      came: [...range(0, 99), ...range(110, 399), ...range(405, 999)],
      hostDrops: { atSeq: 110, packets: 10 },
    },
  ]);
  expect(receipt).toMatchObject({ sent: 800, lost: 5, hostLost: 0, warmUpLost: 10 });
});
