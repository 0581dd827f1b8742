import type { SendStep, StreamObservation } from "@dyetrace/locate";
import type { Emission } from "../account/emissions.ts";
import { sendingStretches } from "../account/sending-stretches.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";

/** What the source did, as planned where it did not report. */
export function observeStream(run: CompiledRun, stream: CompiledStream, emission: Emission | null): StreamObservation {
  const first = emission?.intervals[0];
  const last = emission?.intervals.at(-1);
  // An interval of the source's reports is longer than what it sent in it.
  const stretches = sendingStretches(run, stream);
  const beginsNs = stretches.find(({ endNs }) => endNs > (first?.fromNs ?? 0))?.startNs ?? 0;
  const endsNs = stretches.at(-1)?.endNs ?? Number.POSITIVE_INFINITY;
  const isSilent = emission !== null && emission.sentPackets === 0;
  return {
    stream: stream.name,
    group: stream.group,
    source: stream.sourceHost,
    ssm: stream.isSourceSpecific,
    sourceState:
      emission === null ? "unknown" : isSilent ? "not-sending" : emission.stalls.length > 0 ? "stalled" : "sending",
    sentPackets: emission?.sentPackets ?? null,
    steps: sendSteps(run, stream, emission),
    unsent: [],
    firstSentMs: first === undefined ? null : Math.max(first.fromNs, beginsNs) / 1e6,
    lastSentMs: last === undefined ? null : Math.min(last.toNs, endsNs) / 1e6,
    stalls: (emission?.stalls ?? []).map(({ atNs, durationNs }) => ({
      startMs: atNs / 1e6,
      endMs: (atNs + durationNs) / 1e6,
    })),
    ttl: stream.ttl,
    dscp: stream.dscp,
  };
}

/** Rates and sizes as planned, with the numbers that the source's own count gives them. */
function sendSteps(run: CompiledRun, stream: CompiledStream, emission: Emission | null): SendStep[] {
  const steps: SendStep[] = [];
  for (const { startNs, endNs, rateBps, payloadBytes } of sendingStretches(run, stream)) {
    const firstSeq = steps.length === 0 ? (emission?.firstSeq ?? 0) : (steps.at(-1)?.lastSeq ?? -1) + 1;
    const packets = Math.ceil(((endNs - startNs) * rateBps) / (payloadBytes * 8e9));
    const lastSeq = Math.min(firstSeq + packets - 1, emission?.lastSeq ?? Number.POSITIVE_INFINITY);
    if (lastSeq < firstSeq) continue;
    steps.push({ firstSeq, lastSeq, startMs: startNs / 1e6, endMs: endNs / 1e6, payloadBytes, rateBps });
  }
  return steps;
}
