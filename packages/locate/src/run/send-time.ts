import type { SendStep, StreamObservation } from "./run-observations.ts";

/**
 * When the source sent a number, by its own steps: one clock for all listeners, free of their delays. Numbers outside
 * the steps are extrapolated at the nearest step's pace. Null for a stream without steps.
 */
export function sendTimeMs(stream: StreamObservation, seq: number): number | null {
  let at = 0;
  while (at < stream.steps.length - 1 && seq > (stream.steps[at] as SendStep).lastSeq) at++;
  const step = stream.steps[at];
  if (step === undefined) return null;
  return step.startMs + (seq - step.firstSeq) * packetIntervalMs(step);
}

/** Time from one packet to the next; 0 for a step of one packet. */
export function packetIntervalMs(step: SendStep): number {
  const intervals = step.lastSeq - step.firstSeq;
  return intervals <= 0 ? 0 : (step.endMs - step.startMs) / intervals;
}

/** First number sent at or after an instant, or null when none was. */
export function firstSeqSince(stream: StreamObservation, atMs: number): number | null {
  for (const step of stream.steps) {
    if (step.endMs < atMs) continue;
    const interval = packetIntervalMs(step);
    if (atMs <= step.startMs || interval === 0) return step.firstSeq;
    return Math.min(step.lastSeq, step.firstSeq + Math.ceil((atMs - step.startMs) / interval));
  }
  return null;
}
