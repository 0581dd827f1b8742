import type { CompiledStream } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import type { Reception } from "./receptions.ts";
import type { SourceAccount } from "./source-account.ts";

/**
 * Tells whether a listener speaks of packets that the stream's source says it never sent: of numbers past its last one, or
 * of a sender that it never was. One of the two is wrong, nobody can say which, and nothing may be concluded from it. Where
 * the source's last word is missing nothing is impossible.
 */
export function isImpossible({ receipt }: Reception, source: SourceAccount | null): boolean {
  if (source === null || source.emission.sentPackets === null) return false;
  const { senderId: judgedId, senderIds, lastSeq } = source.emission;
  const sentEndSeq = lastSeq === null ? 0 : lastSeq + 1;
  return receipt.spans.some(
    ({ senderId, endSeq }) =>
      senderId !== null && (!senderIds.has(senderId) || (senderId === judgedId && endSeq > sentEndSeq)),
  );
}

/** An agent whose figures of a stream were left out for that. */
export interface ImpossibleWord {
  readonly agent: string;
  readonly stream: CompiledStream;
}

export const impossibleWords = (
  stream: CompiledStream,
  source: SourceAccount | null,
  agents: ReadonlyMap<string, AgentAccount>,
): ImpossibleWord[] =>
  [...agents.values()]
    .filter(({ receptions }) =>
      (receptions.get(stream.streamId) ?? []).some((reception) => isImpossible(reception, source)),
    )
    .map(({ agent }) => ({ agent, stream }));
