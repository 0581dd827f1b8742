import { formatCount, formatDurationNs } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";
import type { Watch } from "../account/seen-frames.ts";

/** What the reader should know beside figures and findings: who was lost or away, and what cannot be true. */
export function reportNotes(account: RunAccount): string[] {
  const { told, agents, impossible } = account;
  const notes = stopNotes(account);
  for (const { agent, ending, lostAtNs, troubles, watch } of agents.values()) {
    if (ending === null) {
      const when = lostAtNs === null ? "" : `, ${(lostAtNs / 1e9).toFixed(1)} s after the start`;
      notes.push(
        `The agent ${agent} was lost${when} and never reported in full: what it did not tell of is not known.`,
      );
    }
    for (const trouble of troubles) notes.push(`${agent}: ${trouble}`);
    notes.push(...watchNotes(agent, watch));
  }
  if (told.absent.length > 0) notes.push(`Not connected, so nothing was watched there: ${told.absent.join(", ")}.`);
  for (const { agent, stream } of impossible) {
    notes.push(
      `${agent} tells of packets of ${stream.name} that ${stream.source} says it never sent: one of the two is wrong, so what ${agent} says of it is left out.`,
    );
  }
  return notes;
}

function stopNotes({ run, told }: RunAccount): string[] {
  const { stopReason, isAborted, stoppedBy, startedAt, endedAt } = told;
  if (stopReason !== null) return [`Stopped for safety: ${stopReason}.`];
  if (!isAborted) return [];
  const afterNs = Math.max(0, endedAt.getTime() - startedAt.getTime()) * 1e6;
  const by = stoppedBy == null ? "" : ` by ${stoppedBy}`;
  return [
    `Stopped${by} before its end, ${formatDurationNs(afterNs)} after its start; it was to last ${formatDurationNs(run.endNs)}.`,
  ];
}

/** What a watcher could not tell in full, and frames that a port should not have put out. */
function watchNotes(agent: string, { taggedFrames, unlistedFrames, unlistedMembership }: Watch): string[] {
  const notes: string[] = [];
  if (taggedFrames > 0) {
    notes.push(
      `${formatCount(taggedFrames)} frames of this run came to ${agent} with a VLAN tag that its interface is no member of: no socket gets them.`,
    );
  }
  if (unlistedFrames > 0) {
    notes.push(
      `${agent} saw ${formatCount(unlistedFrames)} frames more than it could list: of its frames the count is right, not the numbers.`,
    );
  }
  if (unlistedMembership > 0) {
    notes.push(
      `${agent} heard ${unlistedMembership} membership messages more than a report holds: those are not looked at.`,
    );
  }
  return notes;
}

const NOTED_PAUSE_NS = 50e6;

/** What a source could not do as planned: the reader must not take it for the network's. */
export function sourceNotes({ run, sources }: RunAccount): string[] {
  return run.streams.flatMap((stream) => {
    const emission = sources.get(stream.name)?.emission;
    if (emission === undefined) return [];
    const notes: string[] = [];
    if (emission.skippedPackets > 0) {
      const what = `${formatCount(emission.skippedPackets)} packets of ${stream.name}`;
      notes.push(`${stream.source} was too busy to send ${what} in time and left them out: a gap in time, no loss.`);
    }
    const pauseNs = Math.max(0, ...emission.stalls.map((stall) => stall.durationNs));
    if (pauseNs >= NOTED_PAUSE_NS) {
      notes.push(`${stream.source} paused ${stream.name} for up to ${formatDurationNs(pauseNs)}: its host was busy.`);
    }
    if (emission.sendErrors > 0) {
      const last = emission.lastError === null ? "" : ` (last: ${emission.lastError})`;
      notes.push(`${stream.source} met ${emission.sendErrors} send errors on ${stream.name}${last}.`);
    }
    return notes;
  });
}
