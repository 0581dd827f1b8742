import { STANDARD_TIMERS } from "@dyetrace/locate";
import { drawLosses, seededRandom, sketchSite } from "./simulation.mjs";

const PACKETS = 100_000;
const DURATION_MS = 100_000;

/** 1,000 listeners on 120 switches, 100 streams of 100,000 packets from as many sources, about a million gaps. */
export function largeRun() {
  const random = seededRandom(1);
  const links = [];
  for (let a = 0; a < 20; a++) {
    links.push(`core--sw${a}`);
    for (let b = 0; b < 5; b++) {
      links.push(`sw${a}--sw${a}x${b}`);
      for (let c = 0; c < 10; c++) links.push(`sw${a}x${b}--h${(a * 5 + b) * 10 + c}`);
    }
  }
  for (let s = 0; s < 100; s++) links.push(`sw${s % 20}--s${s}`);
  const graph = sketchSite(links, "core");
  const streams = [];
  const listeners = [];
  let gaps = 0;
  for (let s = 0; s < 100; s++) {
    streams.push(streamOf(s));
    const shared = drawLosses(PACKETS, 5e-5, 1, random);
    for (let i = 0; i < 1000; i++) {
      const lost = disjoint([...shared, ...drawLosses(PACKETS, 5e-5, 1, random)]);
      gaps += lost.length;
      listeners.push(listenerOf(s, i, lost));
    }
  }
  const run = {
    streams,
    listeners,
    bystanders: [],
    queriers: [],
    membership: [],
    timers: STANDARD_TIMERS,
  };
  return { graph, run, gaps };
}

const disjoint = (ranges) =>
  ranges.sort((a, b) => a[0] - b[0]).filter((range, i, all) => i === 0 || range[0] > all[i - 1][1] + 1);

const streamOf = (s) => ({
  stream: `stream-${s}`,
  group: `239.195.1.${s}`,
  source: `s${s}`,
  ssm: false,
  sourceState: "sending",
  sentPackets: PACKETS,
  steps: [
    { firstSeq: 0, lastSeq: PACKETS - 1, startMs: 0, endMs: DURATION_MS, payloadBytes: 1316, rateBps: 10_528_000 },
  ],
  unsent: [],
  firstSentMs: 0,
  lastSentMs: DURATION_MS,
  stalls: [],
  ttl: null,
  dscp: null,
});

const listenerOf = (s, i, lost) => ({
  stream: `stream-${s}`,
  host: `h${i}`,
  state: "reported",
  joinedFromMs: -3_000,
  joinedToMs: null,
  receivedPackets: PACKETS - lost.length,
  window: [0, PACKETS - 1],
  lost,
  hostLostPackets: 0,
  lastArrivalMs: DURATION_MS,
  silences: [],
  ttlSeen: null,
  dscpSeen: null,
  unicastRatio: null,
  nicFrames: null,
  foreignPackets: null,
  companion: null,
});
