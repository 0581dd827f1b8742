import { StreamTracker } from "@dyetrace/measure";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compileScenario } from "../plan/compile-scenario.ts";
import { sendingStretches } from "../plan/sending-stretches.ts";
import type { Emission } from "./emissions.ts";
import type { Reception } from "./receptions.ts";
import { SentCount } from "./sent-count.ts";
import { numbersIn, numbersOf } from "./stay-numbers.ts";

const graph = loadSitePlan(
  `
site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`,
  "plan.yaml",
);
/** 100 packets/s from 1 s to 11 s: number n leaves at 1 s + n x 10 ms. */
const compiled = compileScenario(
  "00000000000000aa",
  loadScenario(
    `
scenario: containment
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B } ]
timeline: [ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 11s, stop: board } ]
`,
    "s.yaml",
  ).scenario,
  graph,
  new Map(),
);
const emission: Emission = {
  senderId: 7,
  senderIds: new Set([7]),
  sentPackets: 1000,
  sentBytes: 100_000,
  firstSeq: 0,
  lastSeq: 999,
  sendErrors: 0,
  lastError: null,
  skippedPackets: 0,
  pacing: null,
  stalls: [],
  stoppedNs: null,
  intervals: Array.from({ length: 10 }, (_, i) => ({
    fromNs: (i + 1) * 1e9,
    toNs: (i + 2) * 1e9,
    firstSeq: i * 100,
    lastSeq: i * 100 + 99,
  })),
};

interface Story {
  readonly joinS: number;
  readonly leaveS: number | null;
  /** Runs of numbers that came. */
  readonly came: readonly (readonly [number, number])[];
}

function windowAndLoss({ joinS, leaveS, came }: Story, source: Emission = emission): unknown {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  for (const [first, last] of came) {
    for (let seq = first; seq <= last; seq++) tracker.record(seq, 0, 1e9 + seq * 1e7, 100, 7, 1, 0);
  }
  const receipt = tracker.finish();
  const reception: Reception = {
    receipt,
    pieces: [{ fromNs: 0, toNs: 12e9, joinRequestedNs: joinS * 1e9, receipt }],
    membership: {
      joinRequestedNs: joinS * 1e9,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: (leaveS ?? 12) * 1e9,
    },
    isWhole: true,
  };
  const [stream] = compiled.streams;
  if (stream === undefined) throw new Error("one stream was written");
  const join = { stream: "board", agent: "kiosk", fromNs: joinS * 1e9, toNs: leaveS === null ? null : leaveS * 1e9 };
  const stretches = sendingStretches(compiled, stream);
  const account = { emission: source, stretches, sent: new SentCount(source, stretches) };
  const { window, missing } = numbersOf(join, stream, reception, account, null);
  return window === null ? null : { window, missing: numbersIn(missing) };
}

test("expectedNumbers: given a join before the stream and no leave, then everything is expected, also what never came", () => {
  expect(windowAndLoss({ joinS: 0, leaveS: null, came: [[10, 899]] })).toEqual({
    window: [0, 999],
    missing: [
      [0, 9],
      [900, 999],
    ],
  });
});

test("expectedNumbers: given a join into the running stream, then it begins with the first packet: that is join delay", () => {
  expect(windowAndLoss({ joinS: 3, leaveS: null, came: [[203, 999]] })).toEqual({ window: [203, 999], missing: [] });
});

test("expectedNumbers: given a first packet that comes later than a repeated report explains, then the rest is loss", () => {
  // Joined at 3 s; by 5 s (RFC 3376 8.11: repeated within 1 s) number 401 is due at the latest.
  expect(windowAndLoss({ joinS: 3, leaveS: null, came: [[600, 999]] })).toEqual({
    window: [401, 999],
    missing: [[401, 599]],
  });
});

test("expectedNumbers: given a stream that is cut before the leave, then what was sent until the leave is missing", () => {
  // Left at 7 s: number 590 left 0.1 s before.
  expect(windowAndLoss({ joinS: 0, leaveS: 7, came: [[0, 399]] })).toEqual({ window: [0, 589], missing: [[400, 589]] });
});

test("expectedNumbers: given a leave while packets come, then nothing after it is missing", () => {
  expect(windowAndLoss({ joinS: 0, leaveS: 7, came: [[0, 598]] })).toEqual({ window: [0, 598], missing: [] });
});

test("expectedNumbers: given a stay without one packet, then all that was sent in it is missing", () => {
  expect(windowAndLoss({ joinS: 0, leaveS: 7, came: [] })).toEqual({ window: [0, 589], missing: [[0, 589]] });
});

test("expectedNumbers: given a source that was lost, then what it had told of counts, though its last word is missing", () => {
  const lost = { ...emission, sentPackets: null };
  expect(windowAndLoss({ joinS: 0, leaveS: null, came: [[0, 399]] }, lost)).toEqual({
    window: [0, 999],
    missing: [[400, 999]],
  });
  expect(windowAndLoss({ joinS: 0, leaveS: null, came: [] }, lost)).toEqual({ window: [0, 999], missing: [[0, 999]] });
});
