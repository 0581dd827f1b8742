import type { IntervalReport, ListenerInterval, Membership, SenderInterval } from "@dyetrace/wire";
import { joinWifiSights } from "@dyetrace/wire/station/join-wifi-sights";
import { mergeReceipts } from "../merge-receipts.ts";
import { mergeFollowed } from "./merge-followed.ts";

/** Lists of a report are bounded by its schema; of more, the longest are kept. */
const MOST_STALLS = 32;
const MOST_SOURCES = 8;

/**
 * Two reports of one agent's stint, `b` right after `a`, as one. Counts, maxima, gaps and memberships stay exact, as
 * `mergeReceipts` keeps them. Of the pacing only the worst does: a percentile of both together is not
 * known, so the greater of the two stands in, which is never better than the truth.
 */
export function mergeIntervalReports(a: IntervalReport, b: IntervalReport): IntervalReport {
  return {
    fromNs: a.fromNs,
    toNs: b.toNs,
    listeners: mergeListeners(a.listeners, b.listeners),
    senders: mergeSenders(a.senders, b.senders),
    host: mergeHosts(a.host, b.host),
    ...(a.wifi === undefined && b.wifi === undefined ? {} : { wifi: joinWifiSights(a.wifi ?? [], b.wifi ?? []) }),
    sourcesStopped: b.sourcesStopped ?? a.sourcesStopped,
    totals: b.totals ?? a.totals,
  };
}

/** True where a join or a leave falls into the report: merged with others it would no longer say what came before it and what after. */
export const hasMembershipChange = ({ listeners, fromNs, toNs }: IntervalReport): boolean =>
  listeners.some(({ memberships }) =>
    memberships.some(({ joinRequestedNs, leaveRequestedNs }) =>
      [joinRequestedNs, leaveRequestedNs].some((atNs) => atNs !== null && atNs >= fromNs && atNs <= toNs),
    ),
  );

/** One stay in a group; an entry without a stay says that this host was no member. */
const stayOf = ({ streamId, memberships }: ListenerInterval): string =>
  `${streamId} ${memberships[0]?.joinRequestedNs ?? "none"}`;

function mergeListeners(a: readonly ListenerInterval[], b: readonly ListenerInterval[]): readonly ListenerInterval[] {
  const merged = new Map<string, ListenerInterval>();
  for (const entry of [...a, ...b]) {
    const key = stayOf(entry);
    const before = merged.get(key);
    merged.set(key, before === undefined ? entry : joinEntries(before, entry));
  }
  return [...merged.values()];
}

const joinEntries = (a: ListenerInterval, b: ListenerInterval): ListenerInterval => ({
  streamId: a.streamId,
  receipt: a.receipt === null || b.receipt === null ? (a.receipt ?? b.receipt) : mergeReceipts(a.receipt, b.receipt),
  memberships: joinMemberships(a.memberships, b.memberships),
  hostLostPackets: sumKnown(a.hostLostPackets, b.hostLostPackets),
  socketStreams: Math.max(a.socketStreams, b.socketStreams),
  foreign: joinForeign(a.foreign, b.foreign),
  ...joinFollowed(a.followed, b.followed),
  ...joinWatched(a.watched, b.watched),
});

type Watched = ListenerInterval["watched"];

/** Of one stay: whether the host was a member is the same in both. */
const joinWatched = (a: Watched, b: Watched): Pick<ListenerInterval, "watched"> =>
  a === undefined || b === undefined
    ? a === undefined && b === undefined
      ? {}
      : { watched: (a ?? b) as NonNullable<Watched> }
    : { watched: { isMember: b.isMember, unreadFrames: a.unreadFrames + b.unreadFrames } };

type Followed = ListenerInterval["followed"];

function joinFollowed(a: Followed, b: Followed): Pick<ListenerInterval, "followed"> {
  const followed = a === undefined || b === undefined ? (a ?? b) : mergeFollowed(a, b);
  return followed === undefined ? {} : { followed };
}

/** The later word on a stay says how it went on; the first packet stands in whichever saw it. */
function joinMemberships(a: readonly Membership[], b: readonly Membership[]): readonly Membership[] {
  const joined = new Map(a.map((stay) => [stay.joinRequestedNs, stay]));
  for (const stay of b) {
    const before = joined.get(stay.joinRequestedNs);
    joined.set(stay.joinRequestedNs, {
      ...stay,
      firstPacketNs: before?.firstPacketNs ?? stay.firstPacketNs,
      lastPacketNs: stay.lastPacketNs ?? before?.lastPacketNs ?? null,
    });
  }
  return [...joined.values()];
}

type Foreign = ListenerInterval["foreign"];

const joinForeign = (a: Foreign, b: Foreign): Foreign => ({
  foreignPackets: a.foreignPackets + b.foreignPackets,
  malformedPackets: a.malformedPackets + b.malformedPackets,
  otherRunPackets: a.otherRunPackets + b.otherRunPackets,
  otherStreamPackets: a.otherStreamPackets + b.otherStreamPackets,
  misdirectedPackets: a.misdirectedPackets + b.misdirectedPackets,
  sources: [...new Set([...a.sources, ...b.sources])].slice(0, MOST_SOURCES),
});

function mergeSenders(a: readonly SenderInterval[], b: readonly SenderInterval[]): readonly SenderInterval[] {
  const merged = new Map<string, SenderInterval>();
  for (const entry of [...a, ...b]) {
    const key = `${entry.streamId} ${entry.senderId}`;
    const before = merged.get(key);
    merged.set(key, before === undefined ? entry : joinSenders(before, entry));
  }
  return [...merged.values()];
}

const joinSenders = (a: SenderInterval, b: SenderInterval): SenderInterval => ({
  streamId: a.streamId,
  senderId: a.senderId,
  sentPackets: a.sentPackets + b.sentPackets,
  sentBytes: a.sentBytes + b.sentBytes,
  firstSeq: a.firstSeq ?? b.firstSeq,
  lastSeq: b.lastSeq ?? a.lastSeq,
  sendErrors: {
    enobufs: a.sendErrors.enobufs + b.sendErrors.enobufs,
    eagain: a.sendErrors.eagain + b.sendErrors.eagain,
    other: a.sendErrors.other + b.sendErrors.other,
  },
  lastError: b.lastError ?? a.lastError,
  skippedPackets: a.skippedPackets + b.skippedPackets,
  pacing:
    a.pacing === null || b.pacing === null
      ? (a.pacing ?? b.pacing)
      : {
          p50Ns: Math.max(a.pacing.p50Ns, b.pacing.p50Ns),
          p99Ns: Math.max(a.pacing.p99Ns, b.pacing.p99Ns),
          p999Ns: Math.max(a.pacing.p999Ns, b.pacing.p999Ns),
          maxNs: Math.max(a.pacing.maxNs, b.pacing.maxNs),
        },
  stalls: [...a.stalls, ...b.stalls]
    .sort((x, y) => y.durationNs - x.durationNs)
    .slice(0, MOST_STALLS)
    .sort((x, y) => x.atNs - y.atNs),
});

const mergeHosts = (a: IntervalReport["host"], b: IntervalReport["host"]): IntervalReport["host"] => ({
  udpRcvbufErrors: sumKnown(a.udpRcvbufErrors, b.udpRcvbufErrors),
  udpInErrors: sumKnown(a.udpInErrors, b.udpInErrors),
  udp6RcvbufErrors: sumKnown(a.udp6RcvbufErrors, b.udp6RcvbufErrors),
  udp6InErrors: sumKnown(a.udp6InErrors, b.udp6InErrors),
  interfaceRxDropped: sumKnown(a.interfaceRxDropped, b.interfaceRxDropped),
  interfaceRxErrors: sumKnown(a.interfaceRxErrors, b.interfaceRxErrors),
  interfaceTxDropped: sumKnown(a.interfaceTxDropped, b.interfaceTxDropped),
  interfaceTxErrors: sumKnown(a.interfaceTxErrors, b.interfaceTxErrors),
  softnetDropped: sumKnown(a.softnetDropped, b.softnetDropped),
  linkChanges: sumKnown(a.linkChanges, b.linkChanges),
  wallClockSteps: sumKnown(a.wallClockSteps, b.wallClockSteps),
});

/** Unknown in part is unknown. */
const sumKnown = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);
