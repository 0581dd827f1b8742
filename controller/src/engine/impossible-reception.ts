import type { CompiledRun } from "./compile-scenario.ts";
import type { RunEvidence } from "./conduct-run.ts";
import { type Emission, emissionOf, type Reception, receptionsOf } from "./stream-evidence.ts";

/**
 * Whether a listener tells of numbers that its source says it never sent. One of the two is wrong, and nobody can say
 * which, so nothing may be concluded from it.
 * @param emission of the stream's source; without its last word nothing is impossible
 */
export function isImpossible({ receipt }: Reception, emission: Emission | null): boolean {
  if (emission === null || emission.sentPackets === null) return false;
  const { senderId, lastSeq } = emission;
  const endSeq = lastSeq === null ? 0 : lastSeq + 1;
  return receipt.spans.some((span) => span.senderId === senderId && span.endSeq > endSeq);
}

/** One sentence for each listener whose figures were left out for that. */
export function impossibleReceptions(run: CompiledRun, evidence: RunEvidence): string[] {
  return run.streams.flatMap((stream) => {
    const emission = emissionOf(evidence, stream.source, stream.streamId);
    return [...evidence.agents.values()].flatMap((one) => {
      const receptions = receptionsOf(one).get(stream.streamId) ?? [];
      return receptions.some((reception) => isImpossible(reception, emission))
        ? [
            `${one.agent} tells of packets of ${stream.name} that ${stream.source} says it never sent: one of the two is wrong, so the figures of ${one.agent} are left out.`,
          ]
        : [];
    });
  });
}
