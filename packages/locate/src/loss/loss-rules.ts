import type { LinkSegment } from "@dyetrace/site";
import { companionEvidence, type UnicastBeside } from "../finding/companion-evidence.ts";
import type { DiagnosisRule } from "../finding/diagnosis-rule.ts";
import { betweenPhrase } from "../finding/place-wording.ts";
import { nameList, percent, rate } from "../finding/wording.ts";
import type { LossInterval } from "./loss-interval.ts";

/** Loss on one chain of segments, with what tells its kinds apart. */
export interface LossCase {
  readonly streams: readonly string[];
  readonly segments: readonly LinkSegment[];
  readonly interval: LossInterval;
  /** Hosts that share the loss. */
  readonly hosts: readonly string[];
  /** Set where the chain ends at a listener. */
  readonly lastHost: string | null;
  /** False where that host cannot tell its own drops from the network's. */
  readonly areHostDropsKnown: boolean;
  /** Packets lost on the chain, all streams together. */
  readonly lostPackets: number;
  readonly sentPackets: number;
  readonly isBursty: boolean;
  /** Streams that cross the same chain without loss. */
  readonly cleanStreams: readonly string[];
  readonly rateLimit: RateLimit | null;
  readonly unicast: UnicastBeside;
}

/** Where a stream with several rates begins to lose. */
export interface RateLimit {
  readonly stream: string;
  readonly highestCleanBps: number;
  readonly lowestLossyBps: number;
  /** What still comes through: rate times (1 - loss), the mean over the lossy steps. */
  readonly clipsAtBps: number;
  readonly steps: readonly { readonly rateBps: number; readonly lossRatio: number }[];
}

export const LOSS_RULES: readonly DiagnosisRule<LossCase>[] = [
  {
    kind: "rate-limited",
    when: ({ rateLimit }) => rateLimit !== null,
    title: (loss) =>
      `${loss.rateLimit?.stream} is cut to about ${rate(loss.rateLimit?.clipsAtBps ?? 0)} ${between(loss)}: clean at ${rate(loss.rateLimit?.highestCleanBps ?? 0)}, losing at ${rate(loss.rateLimit?.lowestLossyBps ?? 0)}`,
    evidence: ({ rateLimit }) =>
      (rateLimit?.steps ?? []).map((step) => `at ${rate(step.rateBps)}: ${percent(step.lossRatio)} lost`),
    advice:
      "Look for storm control, a policer, a shaper or a slower link on these ports, and count all groups that share them: the limit is on their sum. If delay rises before the loss, the link is full; if not, it is a policer.",
    reference: "common practice, no standard",
  },
  {
    kind: "loses",
    when: () => true,
    title: (loss) =>
      `${nameList(loss.streams)} loses ${percent(loss.interval.lossRatio)} ${between(loss)}: ${nameList(loss.hosts)} share${loss.hosts.length === 1 ? "s" : ""} the loss`,
    evidence: (loss) => [
      ...companionEvidence(loss.unicast),
      ...(loss.isBursty ? ["The losses come in bursts, so the rate itself is uncertain; the place is not."] : []),
      ...(loss.cleanStreams.length > 0
        ? [`${nameList(loss.cleanStreams)} crosses the same stretch without loss.`]
        : []),
      ...(loss.lastHost !== null && !loss.areHostDropsKnown
        ? [`${loss.lastHost} cannot count its own drops: they would look the same.`]
        : []),
    ],
    advice:
      "Compare the error and discard counters of both ports before and after a run: errors point to cable, optics or duplex, discards at the egress to a full queue. On radio expect some loss and see whether the access point can send multicast at a higher rate.",
    reference: "RFC 2544, section 26.3; on radio RFC 9119",
  },
];

function between({ segments }: LossCase): string {
  const [first, last] = [segments[0], segments.at(-1)];
  if (first === undefined || last === undefined) return "";
  return betweenPhrase(first, last);
}
