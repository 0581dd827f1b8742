import type { IntervalReport, MembershipEvent } from "@dyetrace/wire";
import type { Episode, EpisodeKind, ReportBody } from "../store/pack/kept-report.ts";
import { noteLosses, rangesOf, spanOf } from "./note-losses.ts";

/** A silence without a missing number is told from this length on: shorter ones are a stream's own rhythm. */
const SILENCE_NS = 500e6;
/** Episodes that one report may bring: a stream in ruins needs no more to be seen. */
const MOST_EPISODES = 200;

/** What happened in one report's time, as far as its agent can tell. Pure. */
export function noteEpisodes(agent: string, { report, watch }: ReportBody): readonly Episode[] {
  const episodes: Episode[] = [];
  const note = (
    kind: EpisodeKind,
    fromNs: number,
    toNs: number,
    count: number,
    detail = "",
    streamId: number | null = null,
  ): void => {
    episodes.push({ kind, agent, streamId, fromNs, toNs, count, detail });
  };
  noteListening(report, note);
  noteSending(report, note);
  const { fromNs, toNs } = report;
  const { linkChanges, wallClockSteps } = report.host;
  if (linkChanges !== null && linkChanges > 0) note("link", fromNs, toNs, linkChanges);
  if (wallClockSteps !== null && wallClockSteps > 0) note("clock-step", fromNs, toNs, wallClockSteps);
  for (const query of queriesOf(watch?.membership ?? [])) {
    note("query", query.atNs, query.atNs, 1, query.detail);
  }
  return episodes.slice(0, MOST_EPISODES);
}

type Note = (
  kind: EpisodeKind,
  fromNs: number,
  toNs: number,
  count: number,
  detail?: string,
  streamId?: number | null,
) => void;

function noteListening({ listeners, fromNs, toNs }: IntervalReport, note: Note): void {
  for (const { streamId, receipt, followed, watched } of listeners) {
    if (receipt === null || watched?.isMember === false) continue; // who has not joined misses nothing
    const silence = receipt.longestSilence;
    if (silence !== null && silence.startNs !== null && silence.durationNs >= SILENCE_NS) {
      note("silence", silence.startNs, silence.startNs + silence.durationNs, 0, "", streamId);
    }
    // Packets of others bear no numbers of ours: what their receipt says of losses and copies is not known, and no zero.
    if (followed !== undefined) continue;
    for (const one of noteLosses(receipt, fromNs, toNs)) {
      note("loss", one.fromNs, one.toNs, one.count, one.detail, streamId);
    }
    if (receipt.hostLost !== null && receipt.hostLost > 0) {
      const span = spanOf(rangesOf(receipt).filter(({ hostLost }) => hostLost > 0)) ?? { fromNs, toNs };
      note("host-loss", span.fromNs, span.toNs, receipt.hostLost, "", streamId);
    }
    if (receipt.duplicates > 0) note("duplicates", fromNs, toNs, receipt.duplicates, "", streamId);
    if (receipt.reordered > 0) note("reordered", fromNs, toNs, receipt.reordered, "", streamId);
  }
}

function noteSending({ senders, sourcesStopped, totals }: IntervalReport, note: Note): void {
  for (const { streamId, stalls, skippedPackets } of senders) {
    for (const { atNs, durationNs } of stalls) {
      note("send-stall", atNs, atNs + durationNs, skippedPackets, "", streamId);
    }
  }
  // The last report repeats what an earlier one said; a stop as planned is no news.
  if (sourcesStopped !== null && sourcesStopped.why !== "as-planned" && totals === null) {
    note("source-stop", sourcesStopped.atNs, sourcesStopped.atNs, 1, `${sourcesStopped.why}: ${sourcesStopped.detail}`);
  }
}

/** General queries, which repeat at a fixed interval: what patterns are held against. Of a tagged one with its VLAN: `192.0.2.1 20`. */
function queriesOf(events: readonly MembershipEvent[]): { readonly atNs: number; readonly detail: string }[] {
  return events.flatMap(({ atNs, direction, message }) => {
    if (direction !== "in" || message.kind !== "query" || message.group !== null) return [];
    const vlan = message.vlanId === null ? "" : ` ${message.vlanId}`;
    return [{ atNs, detail: `${message.source}${vlan}` }];
  });
}
