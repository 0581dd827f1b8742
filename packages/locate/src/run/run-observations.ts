/**
 * What a run leaves behind, in the form that `locate` reasons from. Instants ("...Ms") count from the run's start on the
 * controller's clock. Unknown is null, never 0. Hosts and sources are node names of the site plan; streams are names
 * unique within the run. Sequence numbers are unwrapped and count what the source put on the wire, one per packet.
 */

import type { DeviceObservation } from "./device-observations.ts";
import type { SendStep, SourceBreak, SourceState } from "./sending.ts";

export type { SendStep, SourceBreak, SourceState } from "./sending.ts";

/** First and last sequence number, both included. Lists of ranges are ascending and disjoint. */
export type SeqRange = readonly [firstSeq: number, lastSeq: number];

export interface StreamObservation {
  readonly stream: string;
  readonly group: string;
  /** Host that the stream comes from. */
  readonly source: string;
  /** True when listeners join (source, group). */
  readonly ssm: boolean;
  readonly sourceState: SourceState;
  /** Packets that the source handed to its kernel without an error. */
  readonly sentPackets: number | null;
  /** Set where the source told nothing: `sentPackets` is what was seen of a stream of others, or what would come were it sent. */
  readonly sending?: "seen" | "assumed";
  /** Set where its packets bear no numbers and were given some as they were seen: what reached nobody has none, or not each. */
  readonly numbering?: "as-seen";
  /**
   * Packets that it was to send; null where it was told to stop earlier. Absent: as many as the steps' rates and times
   * make.
   */
  readonly plannedPackets?: number | null;
  /**
   * Packets that the source's kernel refused because it has learnt that the way takes none so large (RFC 8201, section 4).
   * Absent means none.
   */
  readonly tooLargePackets?: number;
  /** Sizes and rates in the order sent, without overlap; what was planned where the source did not report. */
  readonly steps: readonly SendStep[];
  /** Numbers that the source skipped or could not send: nobody can have received them. */
  readonly unsent: readonly SeqRange[];
  readonly firstSentMs: number | null;
  readonly lastSentMs: number | null;
  /** Times in which the source sent nothing although it should have, by its own log. */
  readonly stalls: readonly TimeSpan[];
  /** Where it ended before it was to, in order. Absent means nowhere. */
  readonly breaks?: readonly SourceBreak[];
  readonly ttl: number | null;
  readonly dscp: number | null;
}

export interface TimeSpan {
  readonly startMs: number;
  readonly endMs: number;
}

/** A silence at one listener: from the last packet before it to the first packet after it. */
export interface Silence extends TimeSpan {
  /** Sequence numbers that never came, between the two packets; 0 says that nothing was lost, only late. */
  readonly missingPackets: number;
}

/** What one joined host received of one stream. A host that joined several times has one entry per membership. */
export interface ListenerObservation {
  readonly stream: string;
  readonly host: string;
  /** `no-report`: the agent said nothing, which is no observation at all, neither good nor bad. */
  readonly state: "reported" | "no-report";
  /** True: it reported pieces of its time, which tell nothing without the source's own count. */
  readonly isInPieces?: boolean;
  /** True: it did report, and what it said is left out to see what follows without it. */
  readonly isLeftOut?: boolean;
  readonly joinedFromMs: number;
  /** Null when it stayed joined until the end. */
  readonly joinedToMs: number | null;
  /** Distinct sequence numbers received within the window. */
  readonly receivedPackets: number;
  /** Numbers that were sent while this host was joined and that it should have; null when nobody can say. */
  readonly window: SeqRange | null;
  /** Numbers of the window that did not arrive. */
  readonly lost: readonly SeqRange[];
  /**
   * False where `lost` gives only the outlines of gaps, which enclose packets that came: such a list would seem to share
   * its gaps with the neighbours', so it is not used for loss rates. Absent means true.
   */
  readonly isLostListExact?: boolean;
  /**
   * Numbers of the window, `lost` among them, about which nobody can say whether they came: the report of that time never
   * arrived, or the agent was away. Absent means none.
   */
  readonly unknown?: readonly SeqRange[];
  /** Packets that came a second time; null or absent when nobody counted. */
  readonly duplicatePackets?: number | null;
  /** Packets that reached this host and were dropped by it; null when it cannot tell. */
  readonly hostLostPackets: number | null;
  /** Those of the lost numbers that were surely dropped by the host itself, where it knows them. */
  readonly hostLost?: readonly SeqRange[];
  readonly lastArrivalMs: number | null;
  /** The longer silences, in order of time. */
  readonly silences: readonly Silence[];
  /** TTL or hop limit that arrived; null before the first packet or where the platform hides it. */
  readonly ttlSeen: number | null;
  readonly dscpSeen: number | null;
  /** Share of frames addressed to this host alone (0 to 1). */
  readonly unicastRatio: number | null;
  /** Frames of this stream that the watcher saw at the network card; null where nobody watched. */
  readonly nicFrames: number | null;
  /** Packets on the group that are not this run's. */
  readonly foreignPackets: number | null;
  /** Slow unicast stream from the same source to this host, sent and received packets; null when there was none. */
  readonly companion: {
    readonly sentPackets: number;
    readonly receivedPackets: number;
  } | null;
}

/** What a host saw of a stream while it was not joined to it. */
export interface BystanderObservation {
  readonly stream: string;
  readonly host: string;
  /** False: it could not watch, so its silence proves nothing. */
  readonly canSee: boolean;
  readonly frames: number;
  /** Runs of numbers seen. */
  readonly ranges: readonly SeqRange[];
  readonly firstMs: number | null;
  readonly lastMs: number | null;
  /** True when some other program on that host has joined the group; null when it cannot tell. */
  readonly isGroupUsedByHost: boolean | null;
}

export interface QuerierHeard {
  /** Source address of the queries. */
  readonly address: string;
  readonly family: 4 | 6;
  /** IGMP 1 to 3, MLD 1 to 2. */
  readonly version: number;
  readonly queries: number;
  /** Negative: before the run. Between first and last the queries came in even steps. */
  readonly firstMs: number;
  readonly lastMs: number;
  /** What it says of itself, or its interval as it was seen. Absent where neither is known. */
  readonly intervalMs?: number;
  readonly maxResponseMs?: number;
  readonly robustness?: number;
  /** Hardware address that the queries came from; where several share an address, of the first. Absent where it is not known. */
  readonly mac?: string;
  /** This very host sent them. Absent: no. */
  readonly isOwn?: boolean;
}

/** General queries that one host heard, of those that hosts act on. */
export interface QuerierObservation {
  readonly host: string;
  /** False: it could not watch, so hearing none proves nothing. */
  readonly canHear: boolean;
  /** From when to when all that came is told below: what came before or after is not known. */
  readonly watchedFromMs: number;
  readonly watchedToMs: number;
  readonly queriers: readonly QuerierHeard[];
}

/** A report or a leave that a host sent. */
export interface MembershipEvent {
  readonly kind: "report" | "leave";
  readonly host: string;
  readonly group: string;
  readonly atMs: number;
  /** Of the message: IGMP 1 to 3, MLD 1 to 2. Absent where it is not known. */
  readonly version?: number;
}

/** The version that a host's own settings press it into; 0: none does. */
export interface ForcedVersions {
  readonly host: string;
  readonly igmp: number;
  readonly mld: number;
}

/** A query about one group that came to a host. */
export interface GroupQueryHeard {
  readonly host: string;
  readonly group: string;
  readonly atMs: number;
}

/** Timers of the site's querier where known; the standard's defaults otherwise (RFC 3376, section 8). */
export interface MembershipTimers {
  readonly queryIntervalMs: number;
  readonly queryResponseMs: number;
  readonly robustness: number;
  /** Last member query interval times its count. */
  readonly lastMemberMs: number;
}

export const STANDARD_TIMERS: MembershipTimers = {
  queryIntervalMs: 125_000,
  queryResponseMs: 10_000,
  robustness: 2,
  lastMemberMs: 2_000,
};

/** How far one host's instants may lie from the controller's clock, either way. */
export interface HostClock {
  readonly host: string;
  /** Null when it was never compared. */
  readonly uncertaintyMs: number | null;
}

/**
 * A host heard another's membership report. Switches hand reports on to routers and queriers alone (RFC 4541, section
 * 2.1.1), so the two share a port, or the hearer sits on the way there.
 */
export interface HeardReport {
  /** Who heard it. */
  readonly host: string;
  readonly from: string;
  readonly group: string;
}

/** A host's own link went down or came up within a time. */
export interface LinkChange {
  readonly host: string;
  readonly fromMs: number;
  readonly toMs: number;
}

export interface RunObservations {
  readonly streams: readonly StreamObservation[];
  readonly listeners: readonly ListenerObservation[];
  readonly bystanders: readonly BystanderObservation[];
  readonly queriers: readonly QuerierObservation[];
  readonly membership: readonly MembershipEvent[];
  /** Hosts that could read their settings; absent: none. */
  readonly forcedVersions?: readonly ForcedVersions[];
  /** Absent where nobody listened for them. */
  readonly groupQueries?: readonly GroupQueryHeard[];
  /** IGMP's; MLD's too where those are absent. */
  readonly timers: MembershipTimers;
  readonly mldTimers?: MembershipTimers;
  /** In order of time for each host; what a host does not count is not in it. Absent where nobody counted. */
  readonly linkChanges?: readonly LinkChange[];
  /** Absent where nothing is known of the hosts' clocks. */
  readonly clocks?: readonly HostClock[];
  /** Absent where no device was read. */
  readonly devices?: readonly DeviceObservation[];
  /** Absent where nobody listened for them. A pair that is not in it was not heard by who could watch. */
  readonly reportsHeard?: readonly HeardReport[];
}
