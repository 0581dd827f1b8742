import type { Finding } from "../finding/finding.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import type { Silence, TimeSpan } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** Shorter pauses are a busy host's scheduling: worth a note beside the run, not a finding. Common practice, no source. */
const LEAST_STALL_MS = 500;

/**
 * A common silence in which no number is missing: nothing was lost, the source paused. Told by the source's own log, or
 * by all listeners together.
 */
export function findSourceStalls(streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap((facts) => {
    const logged = facts.stream.stalls.filter((stall) => stall.endMs - stall.startMs >= LEAST_STALL_MS);
    const common = commonSilences(facts);
    const stalls = logged.length > 0 ? logged : common;
    if (stalls.length === 0) return [];
    const longest = Math.max(...stalls.map((stall) => stall.endMs - stall.startMs));
    const hosts = facts.receipts.map((receipt) => receipt.listener.host);
    return {
      kind: "source-stalled",
      streams: [facts.stream.stream],
      suspects: [facts.stream.source],
      confidence: logged.length > 0 ? 0.97 : 0.9,
      title: `${facts.stream.source} paused ${facts.stream.stream} for ${seconds(longest)}: all listeners wait at the same time and no number is missing`,
      evidence: [
        ...stalls.slice(0, 5).map((s) => `Silence from ${seconds(s.startMs)} to ${seconds(s.endMs)}.`),
        logged.length > 0
          ? `The source's own log counts ${count(logged.length, "stall")}.`
          : `${nameList(hosts)} share it, and the numbers go on without a gap; the source itself did not log it.`,
      ],
      advice:
        "Look at the source host: other work on its processor, power saving, a virtual machine that is not scheduled. The network delivered what it was given.",
      reference: "common practice, no standard",
    };
  });
}

/** Silences without a missing number that every listener had at the same time; takes two listeners to say so. */
function commonSilences({ receipts }: StreamFacts): TimeSpan[] {
  if (receipts.some(({ listener }) => listener.silences.length === 0)) return [];
  const quiet = receipts.map(({ listener }) => listener.silences.filter(isPause));
  const [first, ...others] = quiet;
  if (first === undefined || others.length === 0) return [];
  return first.filter((pause) => others.every((list) => list.some((other) => overlapsMost(pause, other))));
}

const isPause = (silence: Silence): boolean =>
  silence.missingPackets === 0 && silence.endMs - silence.startMs >= LEAST_STALL_MS;

function overlapsMost(a: TimeSpan, b: TimeSpan): boolean {
  const shared = Math.min(a.endMs, b.endMs) - Math.max(a.startMs, b.startMs);
  return shared >= 0.5 * Math.max(a.endMs - a.startMs, b.endMs - b.startMs);
}
