import type { SendStep, StreamObservation, TimeSpan } from "./run-observations.ts";

/**
 * When the source sent a number, by its own steps: one clock for all listeners, free of their delays. A source that stalls
 * goes on with the next number, so the stalls that it logged are no time of sending. Numbers outside the steps are
 * extrapolated at the nearest step's pace. Null for a stream without steps.
 */
export function sendTimeMs(stream: StreamObservation, seq: number): number | null {
  let at = 0;
  while (at < stream.steps.length - 1 && seq > (stream.steps[at] as SendStep).lastSeq) at++;
  const step = stream.steps[at];
  if (step === undefined) return null;
  const stalls = stallsIn(stream, step);
  let sentMs = step.startMs + (seq - step.firstSeq) * pacedIntervalMs(step, stalls);
  for (const { startMs, endMs } of stalls) if (sentMs > startMs) sentMs += endMs - startMs;
  return sentMs;
}

/** Time from one packet to the next over the whole step, stalls and all; 0 for a step of one packet. */
export const packetIntervalMs = (step: SendStep): number => pacedIntervalMs(step, []);

/** First number sent at or after an instant, or null when none was. */
export function firstSeqSince(stream: StreamObservation, atMs: number): number | null {
  for (const step of stream.steps) {
    if (step.endMs < atMs) continue;
    const stalls = stallsIn(stream, step);
    const interval = pacedIntervalMs(step, stalls);
    if (atMs <= step.startMs || interval === 0) return step.firstSeq;
    const stalledMs = totalMs(stalls.map(({ startMs, endMs }) => ({ startMs, endMs: Math.min(endMs, atMs) })));
    const intervals = (atMs - step.startMs - stalledMs) / interval;
    const isStalled = stalls.some(({ startMs, endMs }) => startMs < atMs && atMs <= endMs);
    return Math.min(step.lastSeq, step.firstSeq + (isStalled ? Math.floor(intervals) + 1 : Math.ceil(intervals)));
  }
  return null;
}

const NO_STALLS: readonly TimeSpan[] = [];

/** The parts of the source's stalls that lie in the step, in order of time. */
function stallsIn({ stalls }: StreamObservation, step: SendStep): readonly TimeSpan[] {
  if (stalls.length === 0) return NO_STALLS;
  return stalls
    .map(({ startMs, endMs }) => ({ startMs: Math.max(startMs, step.startMs), endMs: Math.min(endMs, step.endMs) }))
    .filter(({ startMs, endMs }) => endMs > startMs)
    .sort((a, b) => a.startMs - b.startMs);
}

function pacedIntervalMs(step: SendStep, stalls: readonly TimeSpan[]): number {
  const intervals = step.lastSeq - step.firstSeq;
  return intervals <= 0 ? 0 : Math.max(0, step.endMs - step.startMs - totalMs(stalls)) / intervals;
}

const totalMs = (spans: readonly TimeSpan[]): number =>
  spans.reduce((sum, { startMs, endMs }) => sum + Math.max(0, endMs - startMs), 0);
