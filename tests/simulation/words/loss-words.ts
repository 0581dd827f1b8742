import { intersectRanges } from "@dyetrace/measure";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import type { Observed } from "./observed.ts";
import {
  COUNT,
  first,
  isListOf,
  ms,
  NAMES,
  namesIn,
  type Parts,
  type Phrase,
  type PhraseBook,
  slackMs,
  TIME,
} from "./phrase.ts";
import { misplaced, PLACE } from "./place-words.ts";

const RATIO = "[0-9.e-]+ %";
const RATE = "[0-9.]+ [kM]?bit/s";

/** Names hosts that joined all or some of the streams, and lost something of them. */
function haveLost(list: string, streams: readonly string[], observed: Observed): string | null {
  for (const host of namesIn(list).names) {
    if (!streams.some((stream) => observed.of(stream, host).some(({ lost }) => lost.length > 0)))
      return `${host} lost nothing`;
  }
  return null;
}

const isOfStreams = (part: Parts, finding: Finding): string | null =>
  first(!isListOf(part("streams"), finding.streams) && "other streams", misplaced(part, finding));

const TITLES: readonly Phrase[] = [
  {
    // These streams lost that share at the first suspect, and these hosts lack some of them.
    says: new RegExp(`^(?<streams>${NAMES}) loses? ${RATIO} ${PLACE}: (?<hosts>${NAMES}) shares? the loss$`),
    untrue: (part, finding, observed) =>
      first(isOfStreams(part, finding), haveLost(part("hosts"), finding.streams, observed)),
  },
  {
    says: new RegExp(
      `^(?<stream>[^ ]+) is cut to about ${RATE} ${PLACE}: clean at (?<clean>${RATE}), losing at (?<lossy>${RATE})$`,
    ),
    untrue: (part, finding) =>
      first(!finding.streams.includes(part("stream")) && "another stream", misplaced(part, finding)),
  },
  {
    // At one rate: what passes is what the source sends less what these hosts lost.
    says: new RegExp(
      `^(?<stream>[^ ]+) is cut to about ${RATE} ${PLACE}: it is sent at ${RATE}, and the losses are as even as behind a limit on the rate$`,
    ),
    untrue: (part, finding) =>
      first(!finding.streams.includes(part("stream")) && "another stream", misplaced(part, finding)),
  },
  {
    // So many gaps, none longer than that, each at all hosts that are named with it, and packets after it.
    says: new RegExp(
      `^(?<streams>${NAMES}) had (?<gaps>a gap|${COUNT} gaps) of up to (?<most>${TIME}) ${PLACE}: (?<hosts>${NAMES}) lost it, then it came back$`,
    ),
    untrue: (part, finding, observed) =>
      first(isOfStreams(part, finding), haveLost(part("hosts"), finding.streams, observed)),
  },
];

const EVIDENCE: readonly Phrase[] = [
  {
    // The count is that share of the packets that came there.
    says: new RegExp(
      `^About (?<lost>${COUNT}) packets? of (?<offered>${COUNT}) lost on this stretch: (?<ratio>${RATIO}), 95 % interval (?<low>${RATIO}) to (?<high>${RATIO})\\.$`,
    ),
    untrue: (part) => {
      const [lost, offered] = [Number(part("lost")), Number(part("offered"))];
      const [low, high] = [part("low"), part("high")].map((text) => Number.parseFloat(text) / 100);
      const slack = 1 / offered + 0.01 * (lost / offered);
      return lost / offered >= (low ?? 0) - slack && lost / offered <= (high ?? 1) + slack
        ? null
        : "outside its own interval";
    },
  },
  {
    // There are numbers that nobody of them got.
    says: new RegExp(
      `^(?<hosts>${NAMES}) miss the same numbers of (?<of>${NAMES})(?:, so they were lost above all of them|: lost above all of them, or dropped by each)\\.$`,
    ),
    untrue: (part, finding, observed) => {
      for (const stream of namesIn(part("of")).names) {
        if (!finding.streams.includes(stream)) return `${stream} is not of this finding`;
        const lost = namesIn(part("hosts")).names.map((host) => observed.of(stream, host).flatMap((one) => one.lost));
        if (lost.some((ranges) => ranges.length === 0)) return `not all lost some of ${stream}`;
        const shared = lost.reduce((a, b) =>
          intersectRanges(
            a,
            b.toSorted((x, y) => x[0] - y[0]),
          ),
        );
        if (shared.length === 0) return `no number of ${stream} is lost at all of them`;
      }
      return null;
    },
  },
  {
    says: new RegExp(`^Only the joint loss of (?<links>${NAMES}) is known: no listener's figures tell them apart\\.$`),
    untrue: (part, { suspects }) =>
      namesIn(part("links")).names.every((link) => suspects.includes(link)) ? null : "not suspect",
  },
  {
    says: /^A node and the segment into it lose the same packets, so no listener can tell them apart\.$/,
    untrue: () => null,
  },
  { says: /^The losses come in bursts, so the rate itself is uncertain(?:; the place is not)?\.$/, untrue: () => null },
  {
    says: new RegExp(`^(?<clean>${NAMES}) cross(?:es)? the same stretch without loss\\.$`),
    untrue: (part, { suspects, streams }, observed) => {
      for (const stream of namesIn(part("clean")).names) {
        if (streams.includes(stream)) return `${stream} loses`;
        const behind = observed
          .reported(stream)
          .filter(({ host }) => observed.isBehind(stream, host, suspects[0] ?? ""));
        if (!behind.some((one) => one.receivedPackets > 0)) return `nobody behind it got ${stream}`;
      }
      return null;
    },
  },
  {
    says: new RegExp(`^(?<hosts>${NAMES}) cannot count (?:its|their) own drops: .+$`),
    untrue: (part, { streams }, observed) => {
      const counted = namesIn(part("hosts")).names.filter((host) =>
        streams.flatMap((stream) => observed.of(stream, host)).every(({ hostLostPackets }) => hostLostPackets !== null),
      );
      return counted.length === 0 ? null : `${counted} did`;
    },
  },
  { says: new RegExp(`^at ${RATE}: ${RATIO} lost$`), untrue: () => null },
  {
    says: /^Each twentieth of the run lost nearly as many packets of (?<stream>[^ ]+) as the next .+$/,
    untrue: (part, { streams }) => (streams.includes(part("stream")) ? null : "another stream"),
  },
  { says: /^Unicast from the same source/, untrue: () => null },
  {
    // Every number of that time that these hosts should have had is lost.
    says: new RegExp(
      `^(?<hosts>${NAMES}) missed (?<lost>${COUNT}) packets? of (?<of>[^ ]+) in a row, (?<from>${TIME}) to (?<to>${TIME})\\.$`,
    ),
    untrue: (part, { streams }, observed) => {
      const stream = part("of");
      if (!streams.includes(stream)) return "of another stream";
      const slack = Math.max(slackMs(part("from"), 0), slackMs(part("to"), 0)) + observed.intervalMs(stream);
      for (const host of namesIn(part("hosts")).names) {
        const came = observed
          .of(stream, host)
          .map((one) => observed.gotBetween(one, ms(part("from")) + slack, ms(part("to")) - slack));
        if (came.every((packets) => packets > 0)) return `${host} got ${came} packets then`;
      }
      return null;
    },
  },
  {
    // In each of the times that are told, each of these hosts got half of the numbers at least.
    says: new RegExp(`^(?<hosts>${NAMES}) received half of it or more meanwhile\\.$`),
    untrue: (part, { evidence }, observed) => {
      const gaps = evidence.flatMap(
        (line) => new RegExp(`of ([^ ]+) in a row, (${TIME}) to (${TIME})`).exec(line) ?? [],
      );
      for (let at = 0; at + 3 < gaps.length + 1; at += 4) {
        const [stream = "", from = "", to = ""] = gaps.slice(at + 1, at + 4);
        for (const host of namesIn(part("hosts")).names) {
          const came = Math.max(
            0,
            ...observed.of(stream, host).map((one) => observed.gotBetween(one, ms(from), ms(to))),
          );
          if (came === 0) return `${host} got nothing of ${stream} from ${from} to ${to}`;
        }
      }
      return null;
    },
  },
  { says: /^Other listeners received half of it or more in some of these times\.$/, untrue: () => null },
  {
    says: /^No other listener received half of it meanwhile\.$/,
    untrue: (_, { evidence }, observed) => {
      for (const line of evidence) {
        const gap = new RegExp(`of ([^ ]+) in a row, (${TIME}) to (${TIME})`).exec(line);
        const [, stream = "", from = "", to = ""] = gap ?? [];
        if (gap === null) continue;
        const [a, b] = observed.sentBetween(stream, ms(from), ms(to));
        const whole = observed
          .reported(stream)
          .find((one) => observed.gotBetween(one, ms(from), ms(to)) > (b - a + 1) * 0.6);
        if (whole !== undefined) return `${whole.host} got most of ${stream} then`;
      }
      return null;
    },
  },
];

export const LOSS_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) => kind === "loses" || kind === "rate-limited",
  titles: TITLES,
  evidence: EVIDENCE,
};
