import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import type { Emission } from "./emissions.ts";
import { type SendingStretch, sendingStretches } from "./sending-stretches.ts";
import { SentCount } from "./sent-count.ts";

/** What is known of a stream's sending. */
export interface SourceAccount {
  readonly emission: Emission;
  /** As planned. */
  readonly stretches: readonly SendingStretch[];
  readonly sent: SentCount;
}

/** @returns null if the source's agent reported nothing of the stream */
export function accountOfSource(
  run: CompiledRun,
  stream: CompiledStream,
  agents: ReadonlyMap<string, AgentAccount>,
): SourceAccount | null {
  const emission = agents.get(stream.source)?.emissions.get(stream.streamId);
  if (emission === undefined) return null;
  const stretches = sendingStretches(run, stream);
  return { emission, stretches, sent: new SentCount(emission, stretches) };
}
