import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import type { RunEvidence } from "./run-evidence.ts";
import { emissionOf, type Reception, receptionsOf } from "./stream-evidence.ts";

/**
 * Tells whether a listener speaks of packets that the stream's source says it never sent: of numbers past its last one, or
 * of a sender that it never was. One of the two is wrong, nobody can say which, and nothing may be concluded from it. Where
 * the source's last word is missing nothing is impossible.
 */
export function impossibleTo(stream: CompiledStream, evidence: RunEvidence): (reception: Reception) => boolean {
  const emission = emissionOf(evidence, stream.source, stream.streamId);
  if (emission === null || emission.sentPackets === null) return () => false;
  const reports = evidence.agents.get(stream.source)?.reports ?? [];
  const own = reports.flatMap(({ senders }) => senders).filter(({ streamId }) => streamId === stream.streamId);
  const senderIds = new Set([emission.senderId, ...own.map(({ senderId }) => senderId)]);
  const endSeq = emission.lastSeq === null ? 0 : emission.lastSeq + 1;
  return ({ receipt }) =>
    receipt.spans.some(
      ({ senderId, endSeq: spanEndSeq }) =>
        senderId !== null && (!senderIds.has(senderId) || (senderId === emission.senderId && spanEndSeq > endSeq)),
    );
}

/** One sentence for each listener whose figures were left out for that. */
export function impossibleReceptions(run: CompiledRun, evidence: RunEvidence): string[] {
  return run.streams.flatMap((stream) => {
    const isImpossible = impossibleTo(stream, evidence);
    return [...evidence.agents.values()]
      .filter((one) => (receptionsOf(one).get(stream.streamId) ?? []).some(isImpossible))
      .map(
        ({ agent }) =>
          `${agent} tells of packets of ${stream.name} that ${stream.source} says it never sent: one of the two is wrong, so what ${agent} says of it is left out.`,
      );
  });
}
