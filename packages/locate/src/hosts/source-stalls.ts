import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import type { Silence, TimeSpan } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** Shorter pauses are a busy host's scheduling: worth a note beside the run, not a finding. Common practice, no source. */
const LEAST_STALL_MS = 500;
const MOST_LINES = 5;
/** Two silences are one if they share this part of the longer one. Common practice, no source. */
const LEAST_SHARED_PART = 0.5;
/** Where only listeners tell, a network that holds everything back looks the same. Our estimate, no source. */
const UNLOGGED_CONFIDENCE = 0.9;

interface Stalled extends StreamFacts {
  readonly stalls: readonly TimeSpan[];
  readonly isLogged: boolean;
}

const row = rowsOf<StreamFacts>({
  streams: ({ stream }) => [stream.stream],
  suspects: ({ stream }) => [stream.source],
});

const STALLED = row({
  kind: "source-stalled",
  match: stalledBy,
  title: ({ stream, stalls, isLogged }) =>
    `${stream.source} paused ${stream.stream} for ${stalls.length === 1 ? "" : "up to "}${seconds(Math.max(...stalls.map(lengthMs)))}: ${isLogged ? "its own log says so" : "all listeners that report wait at the same time, and no number is missing then"}`,
  evidence: ({ stream, stalls, isLogged, receipts }) => [
    ...stalls.slice(0, MOST_LINES).map((s) => `Silence from ${seconds(s.startMs)} to ${seconds(s.endMs)}.`),
    isLogged
      ? `The source's own log counts ${count(stalls.length, "pause")} of ${seconds(LEAST_STALL_MS)} and more.`
      : `${nameList(receipts.map(({ listener }) => listener.host))} share it, and the numbers go on without a gap; ${stream.sending === undefined ? "the source itself logged none as long" : "nothing measures on the source"}.`,
  ],
  confidence: ({ isLogged }) => (isLogged ? FINDING_KINDS["source-stalled"].confidence : UNLOGGED_CONFIDENCE),
  advice:
    "Look at the source host: other work on its processor, power saving, a virtual machine that is not scheduled. The network delivered what it was given.",
  reference: "common practice, no standard",
});

export const findSourceStalls = (streams: readonly StreamFacts[]): Finding[] => findingsOf([STALLED], streams);

/**
 * A common silence in which no number is missing: nothing was lost, the source paused. Told by the source's own log, or
 * by all listeners together.
 */
function stalledBy(facts: StreamFacts): Stalled | null {
  const logged = facts.stream.stalls.filter((stall) => lengthMs(stall) >= LEAST_STALL_MS);
  const isLogged = logged.length > 0;
  const stalls = isLogged ? logged : commonSilences(facts);
  return stalls.length === 0 ? null : { ...facts, stalls, isLogged };
}

const lengthMs = ({ startMs, endMs }: TimeSpan): number => endMs - startMs;

/**
 * Silences without a missing number that every listener had at the same time; takes two listeners to say so, and numbers that the
 * packets bear: what was numbered as it was seen goes on without a gap whatever was lost to all.
 */
function commonSilences({ stream, receipts }: StreamFacts): TimeSpan[] {
  if (stream.numbering === "as-seen") return [];
  if (receipts.some(({ listener }) => listener.silences.length === 0)) return [];
  const quiet = receipts.map(({ listener }) => listener.silences.filter(isPause));
  const [first, ...others] = quiet;
  if (first === undefined || others.length === 0) return [];
  return first.filter((pause) => others.every((list) => list.some((other) => overlapsMost(pause, other))));
}

const isPause = (silence: Silence): boolean => silence.missingPackets === 0 && lengthMs(silence) >= LEAST_STALL_MS;

function overlapsMost(a: TimeSpan, b: TimeSpan): boolean {
  const sharedMs = Math.min(a.endMs, b.endMs) - Math.max(a.startMs, b.startMs);
  return sharedMs >= LEAST_SHARED_PART * Math.max(lengthMs(a), lengthMs(b));
}
