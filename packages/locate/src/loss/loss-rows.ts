import { formatCount } from "@dyetrace/wire";
import { companionEvidence } from "../finding/companion-evidence.ts";
import { type FindingRule, having, rowsOf } from "../finding/finding-row.ts";
import { suspectPhrase } from "../finding/place-wording.ts";
import { count, nameList, percent, rate, verb } from "../finding/wording.ts";
import { EVEN_CHI_SQUARE, type EvenLoss } from "./even-loss.ts";
import type { LossCase } from "./loss-case.ts";

const row = rowsOf<LossCase>({
  streams: ({ streams }) => streams,
  suspects: ({ suspects }) => suspects,
  witnesses: ({ hosts }) => hosts,
  evidence: lossEvidence,
  confidence: ({ isBursty, lastHost, uncountedHosts }, ofRow) => {
    if (lastHost === null && uncountedHosts.length > 0) return Math.min(ofRow, UNCOUNTED_CONFIDENCE);
    return isBursty ? Math.min(ofRow, BURSTY_CONFIDENCE) : ofRow;
  },
});

/** Losses in bursts may coincide by chance. Our estimate, held against the truth by the bench. */
const BURSTY_CONFIDENCE = 0.9;
/** Hosts that cannot count their drops may have dropped together what seems lost above them. Our estimate, no source. */
const UNCOUNTED_CONFIDENCE = 0.8;

/** At one rate nobody has seen that less comes through whole. Our estimate, no source. */
const ONE_RATE_CONFIDENCE = 0.9;

const LIMIT_ADVICE =
  "Look for storm control, a policer, a shaper or a slower link on these ports, and count all groups that share them: the limit is on their sum. If delay rises before the loss, the link is full; if not, it is a policer.";
const MAYBE_LIMIT =
  "A limit just below this rate would do that, and so would something that drops one packet in so many: the scenario rate-steps tells which.";

const evenEvidence = ({ stream, chiSquare, passesBps }: EvenLoss): string =>
  `Each twentieth of the run lost nearly as many packets of ${stream} as the next (chi-square ${Number(chiSquare.toPrecision(2))}; by chance below ${EVEN_CHI_SQUARE} once in 10,000 times), so about ${rate(passesBps)} came through all the time.`;

export const LOSS_ROWS: readonly FindingRule<LossCase>[] = [
  row({
    kind: "rate-limited",
    match: (loss) => having(loss, "rateLimit"),
    title: ({ rateLimit, segments, suspects }) =>
      `${rateLimit.stream} is cut to about ${rate(rateLimit.clipsAtBps)} ${suspectPhrase(suspects, segments)}: clean at ${rate(rateLimit.highestCleanBps)}, losing at ${rate(rateLimit.lowestLossyBps)}`,
    evidence: ({ rateLimit }) =>
      rateLimit.steps.map((step) => `at ${rate(step.rateBps)}: ${percent(step.lossRatio)} lost`),
    advice: LIMIT_ADVICE,
    reference: "common practice, no standard",
  }),
  row({
    kind: "rate-limited",
    match: (loss) => (loss.evenLoss?.isLimit === true ? having(loss, "evenLoss") : null),
    title: ({ evenLoss, segments, suspects }) =>
      `${evenLoss.stream} is cut to about ${rate(evenLoss.passesBps)} ${suspectPhrase(suspects, segments)}: it is sent at ${rate(evenLoss.rateBps)}, and the losses are as even as behind a limit on the rate`,
    evidence: ({ evenLoss }) => [evenEvidence(evenLoss)],
    confidence: () => ONE_RATE_CONFIDENCE,
    advice: `${LIMIT_ADVICE} The scenario rate-steps shows the limit for certain: below it nothing is lost.`,
    reference: "common practice, no standard",
  }),
  row({
    kind: "loses",
    match: (loss) => loss,
    title: ({ streams, interval, segments, suspects, hosts }) =>
      `${nameList(streams)} ${verb(streams, "lose")} ${percent(interval.lossRatio)} ${suspectPhrase(suspects, segments)}: ${nameList(hosts)} ${verb(hosts, "share")} the loss`,
    evidence: ({ unicast, isBursty, cleanStreams, uncountedHosts, evenLoss }) => [
      ...(evenLoss === null ? [] : [`${evenEvidence(evenLoss)} ${MAYBE_LIMIT}`]),
      ...companionEvidence(unicast),
      ...(isBursty ? [burstsEvidence(uncountedHosts.length > 1)] : []),
      ...(cleanStreams.length > 0
        ? [
            `${nameList(cleanStreams)} ${cleanStreams.length === 1 ? "crosses" : "cross"} the same stretch without loss.`,
          ]
        : []),
      ...(uncountedHosts.length > 0 ? [uncountedEvidence(uncountedHosts)] : []),
    ],
    advice:
      "Compare the error and discard counters of both ports before and after a run: errors point to cable, optics or duplex, discards at the egress to a full queue. On radio expect some loss and see whether the access point can send multicast at a higher rate.",
    reference: "RFC 2544, section 26.3; on radio RFC 9119",
  }),
];

const burstsEvidence = (isPlaceUncertain: boolean): string =>
  `The losses come in bursts, so the rate itself is uncertain${isPlaceUncertain ? "" : "; the place is not"}.`;

function uncountedEvidence(hosts: readonly string[]): string {
  return hosts.length === 1
    ? `${nameList(hosts)} cannot count its own drops: they would look the same.`
    : `${nameList(hosts)} cannot count their own drops: what they drop at the same moments would look the same.`;
}

/** Groups of hosts that are told. */
const MOST_SHARERS = 3;

/** What every loss shows. */
function lossEvidence({
  interval,
  lostPackets,
  offeredPackets,
  sharers,
  uncountedHosts,
  segments,
}: LossCase): string[] {
  const lines = [
    `About ${count(lostPackets, "packet")} of ${formatCount(offeredPackets)} lost on this stretch: ${percent(interval.lossRatio)}, 95 % interval ${percent(interval.low)} to ${percent(interval.high)}.`,
  ];
  const where =
    uncountedHosts.length > 1
      ? ": lost above all of them, or dropped by each"
      : ", so they were lost above all of them";
  for (const { hosts, streams } of sharers.slice(0, MOST_SHARERS)) {
    if (hosts.length > 1) lines.push(`${nameList(hosts)} miss the same numbers of ${nameList(streams)}${where}.`);
  }
  if (segments.length > 1) {
    lines.push(
      `Only the joint loss of ${nameList(segments.map((s) => s.id))} is known: no listener's figures tell them apart.`,
    );
  }
  lines.push("A node and the segment into it lose the same packets, so no listener can tell them apart.");
  return lines;
}
