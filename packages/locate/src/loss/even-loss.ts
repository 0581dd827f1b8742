import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { SeqRange } from "../run/run-observations.ts";
import { sentRateBps } from "../run/step-rate.ts";
import { BLOCKS, countLosses } from "./loss-tree.ts";
import type { ChainLoss, LossScope } from "./stream-loss.ts";

/**
 * Losses that come so evenly as chance does not make them: what a limit on the rate lets through is constant, so every
 * part of a run loses as much as the next.
 */
export interface EvenLoss {
  readonly stream: string;
  readonly rateBps: number;
  /** What comes through of it. */
  readonly passesBps: number;
  readonly lossRatio: number;
  /** Of the counts of equal parts of the run, against losses by chance. */
  readonly chiSquare: number;
  /** True where nothing but a limit is likely; false where something that drops every so-many-th packet would do the same. */
  readonly isLimit: boolean;
}

/**
 * Losses by chance give less only once in 10,000 times: the lower quantile of the chi-square distribution with as many
 * degrees of freedom as blocks less one (Abramowitz and Stegun 26.4). By our own simulation that holds from 40 losses on,
 * and a token bucket stays below 3 unless packets leave in bunches.
 */
export const EVEN_CHI_SQUARE = 3.968;
const FEWEST_LOSSES = 40;
/** Runs may be this much longer than those of losses by chance; longer ones are bursts, and bursts at even times are no limit. Our choice, no source. */
const RUN_FACTOR = 1.2;
/** Where less is lost, a limit would lie just below the rate, which is not likelier than one packet in so many. Our choice, no source. */
const LEAST_LIMIT_LOSS = 0.03;
/** As many of the distances alike, and packets are counted out, not held to a rate. Our choice, no source. */
const COUNTED_OUT = 0.99;

/** @returns null where the losses are not even, too few, or the stream had several rates */
export function evenLossOn(part: ChainLoss, scope: LossScope): EvenLoss | null {
  const { stream } = part.facts;
  const [step, ...others] = stream.steps;
  if (step === undefined || others.some(({ rateBps }) => rateBps !== step.rateBps)) return null;
  const own = lostOnChain(part, scope);
  if (own === null) return null;
  const { packets, gammas, blockGammas } = countLosses({ parents: [0, 0], lostBy: [null, own.lost], sent: own.sent });
  const lossRatio = 1 - (gammas[1] ?? 1);
  const lostPackets = countRanges(own.lost);
  if (lostPackets < FEWEST_LOSSES || lossRatio >= 1) return null;
  if (lostPackets / own.lost.length > RUN_FACTOR / (1 - lossRatio)) return null;
  const each = packets / BLOCKS;
  let chiSquare = 0;
  for (let block = 0; block < BLOCKS; block++) {
    const share = 1 - (blockGammas[BLOCKS + block] ?? 1);
    chiSquare += (each * (share - lossRatio) ** 2) / (lossRatio * (1 - lossRatio));
  }
  if (chiSquare >= EVEN_CHI_SQUARE) return null;
  return {
    stream: stream.stream,
    rateBps: sentRateBps(step),
    passesBps: sentRateBps(step) * (1 - lossRatio),
    lossRatio,
    chiSquare,
    isLimit: lossRatio >= LEAST_LIMIT_LOSS && shareOfCommonestDistance(own.lost) < COUNTED_OUT,
  };
}

interface OnChain {
  readonly lost: readonly SeqRange[];
  readonly sent: readonly SeqRange[];
}

/**
 * What all hosts below the chain miss and not everyone else misses too, from the first loss on: a limit lets the first
 * packets through until its bucket is empty.
 */
function lostOnChain({ facts, hosts }: ChainLoss, { excluded, stoppedFrom, numbers }: LossScope): OnChain | null {
  const below = facts.receipts.filter(({ listener }) => hosts.includes(listener.host));
  const beside = facts.receipts.filter(({ listener }) => !hosts.includes(listener.host));
  if (numbers !== null || below.some(({ listener }) => listener.isLostListExact === false)) return null;
  const first = Math.max(...below.map(({ window }) => window[0]));
  const last = Math.min(
    ...below.map(({ node, window }) => Math.min(window[1], (stoppedFrom.get(node) ?? Number.POSITIVE_INFINITY) - 1)),
  );
  if (last <= first) return null;
  const untold = mergeSequenceRanges([...facts.stream.unsent, ...excluded]);
  const told = subtractRanges([[first, last]], untold);
  const missedBelow = below.reduce<readonly SeqRange[]>((common, { lost }) => intersectRanges(common, lost), told);
  const missedAbove =
    beside.length === 0
      ? []
      : beside.reduce<readonly SeqRange[]>((common, { lost }) => intersectRanges(common, lost), missedBelow);
  const lost = subtractRanges(missedBelow, missedAbove);
  const firstLost = lost[0]?.[0];
  if (firstLost === undefined) return null;
  return { lost, sent: subtractRanges(intersectRanges(told, [[firstLost, last]]), missedAbove) };
}

/** From the start of one run of losses to the start of the next. */
function shareOfCommonestDistance(lost: readonly SeqRange[]): number {
  const times = new Map<number, number>();
  for (let i = 1; i < lost.length; i++) {
    const distance = (lost[i] as SeqRange)[0] - (lost[i - 1] as SeqRange)[0];
    times.set(distance, (times.get(distance) ?? 0) + 1);
  }
  return Math.max(0, ...times.values()) / Math.max(1, lost.length - 1);
}
