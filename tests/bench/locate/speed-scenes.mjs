import { STANDARD_TIMERS } from "@dyetrace/locate";
import { seededRandom, sketchSite } from "./simulation.mjs";

/**
 * Large runs with one thing wrong everywhere, to show how the time grows with listeners and streams. Sites have a core,
 * distribution switches with five edge switches each, and ten hosts on each edge switch; every stream has a source of its own.
 */
const PACKETS = 1_000;
const DURATION_MS = 10_000;
const HOSTS_PER_EDGE = 10;
const EDGES_PER_SWITCH = 5;

/** Nothing wrong: everybody gets everything but for a few lost packets. */
export const soundRun = (hosts, streams) => run(hosts, streams, { joins: () => true, lost: fewLosses });

/** No switch snoops: everyone sees every stream; of each, the hosts on a few edge switches are members. */
export const floodedRun = (hosts, streams) =>
  run(hosts, streams, { joins: (s, i) => (7 * s + 13 * Math.floor(i / HOSTS_PER_EDGE)) % 29 === 0, lost: none });

/** Every twentieth host, or as many as `share` says, gets nothing at all; which ones, chance decides. */
export function silentHostsRun(hosts, streams, share = 0.05) {
  const random = seededRandom(7);
  const isSilent = Array.from({ length: hosts }, () => random() < share);
  return run(hosts, streams, { joins: () => true, lost: (_, i) => (isSilent[i] ? ALL : []) });
}

/** One distribution switch is dead. */
export const deadSwitchRun = (hosts, streams) =>
  run(hosts, streams, {
    joins: () => true,
    lost: (_, i) => (i < HOSTS_PER_EDGE * EDGES_PER_SWITCH ? ALL : []),
  });

const ALL = [[0, PACKETS - 1]];
const none = () => [];
const fewLosses = (s, i) => [[(s * 37 + i * 101) % (PACKETS - 2), (s * 37 + i * 101) % (PACKETS - 2)]];

function run(hosts, streamCount, { joins, lost, leavesMs = null }) {
  const streams = Array.from({ length: streamCount }, (_, s) => streamOf(s));
  const listeners = [];
  const bystanders = [];
  for (let s = 0; s < streamCount; s++) {
    for (let i = 0; i < hosts; i++) {
      if (joins(s, i)) listeners.push(listenerOf(s, i, lost(s, i), leavesMs));
      if (!joins(s, i)) bystanders.push(bystanderOf(s, i, 0));
      else if (leavesMs !== null) bystanders.push(bystanderOf(s, i, leavesMs));
    }
  }
  const nothing = { queriers: [], membership: [], timers: STANDARD_TIMERS };
  return { graph: siteOf(hosts, streamCount), run: { streams, listeners, bystanders, ...nothing } };
}

function siteOf(hosts, streamCount) {
  const links = [];
  const edges = Math.ceil(hosts / HOSTS_PER_EDGE);
  const switches = Math.ceil(edges / EDGES_PER_SWITCH);
  for (let a = 0; a < switches; a++) links.push(`core--sw${a}`);
  for (let e = 0; e < edges; e++) links.push(`sw${Math.floor(e / EDGES_PER_SWITCH)}--sw${switches + e}`);
  for (let i = 0; i < hosts; i++) links.push(`sw${switches + Math.floor(i / HOSTS_PER_EDGE)}--h${i}`);
  for (let s = 0; s < streamCount; s++) links.push(`sw${s % switches}--s${s}`);
  return sketchSite(links, "core");
}

const streamOf = (s) => ({
  stream: `stream-${s}`,
  group: `239.195.${1 + Math.floor(s / 250)}.${s % 250}`,
  source: `s${s}`,
  ssm: false,
  sourceState: "sending",
  sentPackets: PACKETS,
  steps: [
    { firstSeq: 0, lastSeq: PACKETS - 1, startMs: 0, endMs: DURATION_MS, payloadBytes: 1316, rateBps: 1_052_800 },
  ],
  unsent: [],
  firstSentMs: 0,
  lastSentMs: DURATION_MS,
  stalls: [],
  ttl: null,
  dscp: null,
});

function listenerOf(s, i, lost, leavesMs) {
  const last = leavesMs === null ? PACKETS - 1 : Math.floor((leavesMs * PACKETS) / DURATION_MS) - 1;
  const missing = lost.reduce((sum, [from, to]) => sum + Math.min(to, last) - from + 1, 0);
  return {
    stream: `stream-${s}`,
    host: `h${i}`,
    state: "reported",
    joinedFromMs: -3_000,
    joinedToMs: leavesMs === null ? null : leavesMs + i / 100,
    receivedPackets: last + 1 - missing,
    window: [0, last],
    lost: lost.map(([from, to]) => [from, Math.min(to, last)]),
    hostLostPackets: 0,
    lastArrivalMs: null,
    silences: [],
    ttlSeen: null,
    dscpSeen: null,
    unicastRatio: null,
    nicFrames: null,
    foreignPackets: null,
    companion: null,
  };
}

function bystanderOf(s, i, fromMs) {
  const first = Math.floor((fromMs * PACKETS) / DURATION_MS);
  return {
    stream: `stream-${s}`,
    host: `h${i}`,
    canSee: true,
    frames: PACKETS - first,
    ranges: [[first, PACKETS - 1]],
    firstMs: fromMs + i / 100,
    lastMs: DURATION_MS,
    isGroupUsedByHost: null,
  };
}
