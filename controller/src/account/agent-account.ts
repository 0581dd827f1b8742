import type { ClockEstimate, IntervalReport } from "@dyetrace/wire";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";
import { type Emission, emissionsIn } from "./emissions.ts";
import { type HeardMembership, heardMembership } from "./heard-membership.ts";
import { type HostCounts, hostCountsIn } from "./host-counts.ts";
import { type Reception, receptionsIn } from "./receptions.ts";
import type { AgentEvidence } from "./run-evidence.ts";
import { Watch } from "./seen-frames.ts";
import { type SourceBreak, sourceBreaks } from "./source-breaks.ts";
import { type Strangers, strangePackets, strangersIn } from "./strangers.ts";

/** Everything that one agent's reports say, in order; nothing is put beside another agent's word yet. */
export interface AgentAccount {
  readonly agent: string;
  /** By stream id, stay by stay in the order of time. */
  readonly receptions: ReadonlyMap<number, readonly Reception[]>;
  /** By stream id. */
  readonly emissions: ReadonlyMap<number, Emission>;
  readonly sourceBreaks: readonly SourceBreak[];
  readonly watch: Watch;
  /** Null if it can't watch. */
  readonly heard: HeardMembership | null;
  readonly host: HostCounts;
  /** Intervals in which its link went down or came up. */
  readonly linkChanges: readonly { readonly fromNs: number; readonly toNs: number }[];
  /** Where it was on the air, in order; empty where its kernel does not tell. */
  readonly wifi: readonly WifiSight[];
  /** By stream id, over the reports that came. */
  readonly strangers: ReadonlyMap<number, Strangers>;
  /** Null: it never reported in full, so what it received is not known. */
  readonly ending: AgentEnding | null;
  /** When its connection was lost for the last time; null if it was there to the end. */
  readonly lostAtNs: number | null;
  /** Null: its clock was never compared. */
  readonly clock: ClockEstimate | null;
  readonly troubles: readonly string[];
}

/** What an agent's last report says of the whole run. */
export interface AgentEnding {
  /** Packets at a stream's group and port that were not its own, by stream id. */
  readonly strangePackets: ReadonlyMap<number, number>;
  /** Streams whose group this host is a member of without our doing; null where the kernel does not tell. */
  readonly groupsInUse: ReadonlySet<number> | null;
  /** What the host's own settings press it into, 0: nothing; null where it can't tell. */
  readonly forcedVersions: { readonly igmp: number; readonly mld: number } | null;
  /** Streams that the host itself kept from the socket; why, where it can be read. */
  readonly hostBlocks: readonly { readonly streamId: number; readonly why: string | null }[];
}

export function accountOfAgent(evidence: AgentEvidence): AgentAccount {
  const { agent, reports, watch, final, lostAtNs, clock, troubles } = evidence;
  return {
    agent,
    receptions: receptionsIn(reports),
    emissions: emissionsIn(reports, final),
    sourceBreaks: evidence.sourceBreaks ?? sourceBreaks(reports.map((report) => ({ stint: "", report }))),
    watch: new Watch(watch),
    heard: heardMembership(evidence),
    host: hostCountsIn(reports, final),
    linkChanges: reports.flatMap(({ fromNs, toNs, host }) => ((host.linkChanges ?? 0) > 0 ? [{ fromNs, toNs }] : [])),
    wifi: reports.flatMap(({ wifi }) => wifi ?? []),
    strangers: strangersIn(reports),
    ending: final === null ? null : endingOf(final),
    lostAtNs,
    clock,
    troubles,
  };
}

function endingOf({ totals }: IntervalReport): AgentEnding {
  const strange = new Map<number, number>();
  for (const part of totals?.listeners ?? []) {
    if (!strange.has(part.streamId)) strange.set(part.streamId, strangePackets(part));
  }
  return {
    strangePackets: strange,
    groupsInUse: totals?.groupsInUse === undefined ? null : new Set(totals.groupsInUse),
    forcedVersions: totals?.forcedVersions ?? null,
    hostBlocks: totals?.hostBlocks ?? [],
  };
}
