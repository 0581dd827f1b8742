import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { paceNs, type SendingStretch, sendingStretches, withoutTimes } from "../plan/sending-stretches.ts";
import type { AgentAccount } from "./agent-account.ts";
import type { Emission } from "./emissions.ts";
import { SentCount } from "./sent-count.ts";

/** What is known of a stream's sending. */
export interface SourceAccount {
  readonly emission: Emission;
  /** As planned. */
  readonly stretches: readonly SendingStretch[];
  readonly sent: SentCount;
}

/** @param followed what was seen of streams of others @returns null if the source's agent reported nothing of the stream */
export function accountOfSource(
  run: CompiledRun,
  stream: CompiledStream,
  agents: ReadonlyMap<string, AgentAccount>,
  followed: ReadonlyMap<string, Emission> = new Map(),
): SourceAccount | null {
  const told = followed.get(stream.name) ?? agents.get(stream.source)?.emissions.get(stream.streamId);
  if (told === undefined) return null;
  const stretches = sendingStretches(run, stream);
  const emission = told.sentPackets === null ? withHeard(told, latestHeard(told, stream, agents), stretches) : told;
  const pauses = emission.stalls.map(({ atNs, durationNs }) => ({ startNs: atNs, endNs: atNs + durationNs }));
  return { emission, stretches, sent: new SentCount(emission, withoutTimes(stretches, pauses)) };
}

/** The latest number that any listener got of the judged sender; -1 if none did. */
function latestHeard(
  { senderId }: Emission,
  { streamId }: CompiledStream,
  agents: ReadonlyMap<string, AgentAccount>,
): number {
  let latest = -1;
  for (const { receptions } of agents.values()) {
    for (const { receipt } of receptions.get(streamId) ?? []) {
      for (const span of receipt.spans) if (span.senderId === senderId) latest = Math.max(latest, span.endSeq - 1);
    }
  }
  return latest;
}

/**
 * The agent of the source was lost and took its last word with it: what somebody got has been sent all the same, at the
 * pace of the plan.
 */
function withHeard(emission: Emission, heardSeq: number, stretches: readonly SendingStretch[]): Emission {
  const { intervals, lastSeq } = emission;
  const last = intervals.at(-1);
  if (last === undefined || lastSeq === null || heardSeq <= lastSeq) return emission;
  const lasted = (heardSeq - lastSeq) * paceNs(stretches, last.toNs);
  const heard = { fromNs: last.toNs, toNs: last.toNs + lasted, firstSeq: lastSeq + 1, lastSeq: heardSeq };
  return { ...emission, lastSeq: heardSeq, intervals: [...intervals, heard] };
}
