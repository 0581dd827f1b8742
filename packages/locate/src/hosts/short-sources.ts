import { formatCount } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, percent, rate, seconds } from "../finding/wording.ts";
import type { SendStep, SourceBreak, StreamObservation } from "../run/run-observations.ts";
import { isShortStep, packetsOf, plannedPacketsOf, sentRateBps } from "../run/step-rate.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { breakWords } from "./source-breaks.ts";

/** A source's clock is right to 0.1 % and better; a hundredth less than planned was not sent. Our choice, no source. */
const LEAST_SHARE = 0.01;
/** Each step may end a packet or a burst early. Our choice, no source. */
const FEWEST_PACKETS = 10;

interface Short extends StreamFacts {
  readonly plannedPackets: number;
  readonly sentPackets: number;
  readonly shortPackets: number;
  /** As long as those would have taken. */
  readonly shortMs: number;
  /** What the source says of it; null: nothing. */
  readonly broke: SourceBreak | null;
}

const row = rowsOf<StreamFacts>({
  streams: ({ stream }) => [stream.stream],
  suspects: ({ stream }) => [stream.source],
});

/**
 * A source that sent less than it was to, by its own count: it began late, was held up or stopped early, and mostly did not
 * say why. Nobody misses a number for that, so without a word a run of half the packets would pass as a whole one.
 */
const SHORT = row({
  kind: "source-stalled",
  match: shortOf,
  title: ({ stream, shortPackets, broke }) =>
    broke === null
      ? `${stream.source} sent ${count(shortPackets, "packet")} of ${stream.stream} fewer than planned and logged no pause that explains it`
      : `${breakWords(stream, broke)}. It sent ${count(shortPackets, "packet")} fewer than planned`,
  evidence: ({ plannedPackets, sentPackets, shortPackets, shortMs }) => [
    `It counts ${count(sentPackets, "packet")} sent, of ${formatCount(plannedPackets)} planned: ${percent(shortPackets / plannedPackets)} are short, as many as it sends in ${seconds(shortMs)}.`,
    "No number is missing for that: what was not sent was not lost. What was measured is of less than the planned time.",
  ],
  advice:
    "See on the source host whether its agent began late or was started anew, lost its controller, met send errors, or had too little processor time. Then run it again.",
  reference: "common practice, no standard",
});

interface ShortSteps extends StreamFacts {
  readonly short: readonly SendStep[];
}

const instead = (step: SendStep): string =>
  `${rate(sentRateBps(step))} instead of ${rate(step.rateBps)} from ${seconds(step.startMs)} to ${seconds(step.endMs)}`;

const MOST_LINES = 8;

/** A stream that is sent at several rates is sent to see what each of them meets: one that was not reached says nothing. */
const SHORT_STEPS = row({
  kind: "source-stalled",
  match: shortStepsOf,
  title: ({ stream, short: [first, ...others] }) =>
    `${stream.source} sent ${stream.stream} at ${first === undefined ? "less than its rates" : instead(first)}${others.length === 0 ? "" : `, and ${count(others.length, "more step")} below the planned rate`}: what the network does at ${others.length === 0 ? "that rate" : "those rates"} is undecided`,
  evidence: ({ short }) => [
    ...short
      .slice(0, MOST_LINES)
      .map(
        (step) => `${instead(step)}: ${packetsOf(step)} of ${formatCount(Math.round(plannedPacketsOf(step)))} packets.`,
      ),
    "The source counts them itself: what was not sent was not lost, and of what was sent every loss is told.",
  ],
  advice:
    "Send from a host with more processor time to spare, or larger packets: the same rate is fewer of them. Where the rates are above what the way carries anyway, leave the highest out. Then run it again.",
  reference: "common practice, no standard",
});

function shortStepsOf(facts: StreamFacts): ShortSteps | null {
  const { steps, sentPackets, sourceState } = facts.stream;
  const isOneRate = steps.every(({ rateBps }) => rateBps === steps[0]?.rateBps);
  // Of a source that did not report, the steps are the plan's.
  if (isOneRate || sentPackets === null || sourceState === "not-sending") return null;
  const short = steps.filter(isShortStep);
  return short.length === 0 ? null : { ...facts, short };
}

/** Which of its rates a stream missed tells more than how many packets it is short of. */
export const findShortSources = (streams: readonly StreamFacts[]): Finding[] =>
  findingsOf([SHORT_STEPS, SHORT], streams);

function shortOf(facts: StreamFacts): Short | null {
  const { stream } = facts;
  const { sentPackets } = stream;
  if (sentPackets === null || sentPackets === 0 || stream.sourceState === "not-sending") return null;
  const plannedPackets = plannedOf(stream);
  if (plannedPackets === null) return null;
  const explained = Math.ceil(packetsInStalls(stream)) + (stream.tooLargePackets ?? 0);
  const shortPackets = plannedPackets - sentPackets - explained;
  if (shortPackets < Math.max(FEWEST_PACKETS, LEAST_SHARE * plannedPackets)) return null;
  const step = stream.steps.at(-1);
  return {
    ...facts,
    plannedPackets,
    sentPackets,
    shortPackets,
    broke: stream.breaks?.[0] ?? null,
    shortMs: step === undefined ? 0 : shortPackets * paceMs(step),
  };
}

function plannedOf({ plannedPackets, steps }: StreamObservation): number | null {
  if (plannedPackets !== undefined) return plannedPackets;
  return Math.floor(steps.reduce((sum, step) => sum + (step.endMs - step.startMs) / paceMs(step), 0));
}

/** What was to be sent in the pauses that the source logged. */
function packetsInStalls({ steps, stalls }: StreamObservation): number {
  let packets = 0;
  for (const stall of stalls) {
    for (const step of steps) {
      const sharedMs = Math.min(stall.endMs, step.endMs) - Math.max(stall.startMs, step.startMs);
      if (sharedMs > 0) packets += sharedMs / paceMs(step);
    }
  }
  return packets;
}

/** As planned. */
const paceMs = ({ payloadBytes, rateBps }: SendStep): number => (payloadBytes * 8e3) / rateBps;
