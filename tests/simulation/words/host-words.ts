import { each, entries, ofStreams, sum } from "./checks.ts";
import { COUNT, first, ms, NAMES, type PhraseBook, TIME } from "./phrase.ts";

const RATE = "[0-9.]+ [kM]?bit/s";

/** Hosts, their programs, and sources. */
export const HOST_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) =>
    ["host-side-block", "host-side-loss", "source-not-sending", "source-stalled"].includes(kind),
  titles: [
    {
      says: new RegExp(
        `^(?<source>[^ ]+) sent (?<short>${COUNT}) packets? of (?<stream>[^ ]+) fewer than planned and logged no pause that explains it$`,
      ),
      untrue: (part, _, observed) =>
        observed.stream(part("stream")).source === part("source") ? null : "another source",
    },
    {
      // Frames at the card and no packet at the socket, of each of these streams.
      says: new RegExp(
        `^(?<streams>${NAMES}) arrives? at the network card of (?<host>[^ ]+), but nothing reaches the program: the host blocks it$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          ofStreams(part("streams"), finding),
          entries(finding, observed, part("host")).some(
            (one) => (one.nicFrames ?? 0) === 0 && one.receivedPackets > 0,
          ) && "some came",
          finding.suspects[0] !== part("host") && "not the suspect",
        ),
    },
    {
      says: new RegExp(
        `^(?<host>[^ ]+) itself dropped (?<lost>${COUNT}) packets? of (?<streams>${NAMES}) that the network had delivered$`,
      ),
      untrue: (part, finding, observed) => {
        const counted = sum(entries(finding, observed, part("host")).map((one) => one.hostLostPackets ?? 0));
        return first(ofStreams(part("streams"), finding), counted < Number(part("lost")) && `it counts ${counted}`);
      },
    },
    {
      // By its own word, and no listener contradicts.
      says: /^(?<source>[^ ]+) does not send (?<stream>[^ ]+): the network is not to blame for the silence$/,
      untrue: (part, _, observed) => {
        const { source, sentPackets, sourceState } = observed.stream(part("stream"));
        const came = sum(observed.reported(part("stream")).map((one) => one.receivedPackets));
        return first(
          source !== part("source") && "another source",
          sentPackets !== 0 && sourceState !== "not-sending" && "it does",
          (sentPackets ?? 0) > 0 && `it sent ${sentPackets}`,
          came > 0 && `${came} packets came`,
        );
      },
    },
    {
      says: new RegExp(
        `^(?<source>[^ ]+) paused (?<stream>[^ ]+) for (?:up to )?(?<most>${TIME}): (?<by>its own log says so|all listeners that report wait at the same time, and no number is missing then)$`,
      ),
      untrue: (part, _, observed) => {
        const { stalls } = observed.stream(part("stream"));
        const most = ms(part("most"));
        const near = (span: { startMs: number; endMs: number }): boolean =>
          Math.abs(span.endMs - span.startMs - most) <= 60;
        if (part("by").startsWith("its own")) return stalls.some(near) ? null : "its log does not";
        const waiting = observed.reported(part("stream")).filter(({ receivedPackets }) => receivedPackets > 0);
        const missing = waiting.filter((one) => !one.silences.some((gap) => gap.missingPackets === 0));
        return missing.length === 0 && waiting.some((one) => one.silences.some(near))
          ? null
          : `${missing.map(({ host }) => host)} did not`;
      },
    },
    {
      // By the numbers that it used in a step, against what the step's rate makes of its time.
      says: new RegExp(
        `^(?<source>[^ ]+) sent (?<stream>[^ ]+) at ${RATE} instead of ${RATE} from (?<from>${TIME}) to ${TIME}(?:, and (?<more>${COUNT}) more steps? below the planned rate)?: what the network does at (?:that rate|those rates) is undecided$`,
      ),
      untrue: (part, _, observed) => {
        const { source, steps } = observed.stream(part("stream"));
        const short = steps.filter((one) => {
          const planned = ((one.endMs - one.startMs) * one.rateBps) / (one.payloadBytes * 8e3);
          return one.lastSeq - one.firstSeq + 1 <= 0.95 * planned;
        });
        return first(
          source !== part("source") && "another source",
          short.length !== 1 + Number(part("more") || 0) && `${short.length} are short`,
          !short.some(({ startMs }) => Math.abs(startMs - ms(part("from"))) <= 60) && "not that step",
        );
      },
    },
    {
      // By its own count and log, against what the steps' rates and times make.
      says: new RegExp(
        `^(?<source>[^ ]+) sent (?<short>${COUNT}) packets? of (?<stream>[^ ]+) fewer than planned and logged no pause that explains it$`,
      ),
      untrue: (part, _, observed) => {
        const { source, sentPackets, plannedPackets, steps } = observed.stream(part("stream"));
        const inSteps = sum(steps.map((one) => ((one.endMs - one.startMs) * one.rateBps) / (one.payloadBytes * 8e3)));
        const most = (plannedPackets ?? inSteps) - (sentPackets ?? 0);
        return first(
          source !== part("source") && "another source",
          Number(part("short")) > most && `${most} are short`,
        );
      },
    },
  ],
  evidence: [
    {
      says: new RegExp(
        `^It counts (?<sent>${COUNT}) packets? sent, of (?<planned>${COUNT}) planned: (?<share>[0-9.]+) % are short, as many as it sends in (?<time>${TIME})\\.$`,
      ),
      untrue: (part, { streams }, observed) => {
        const [sent, planned] = [Number(part("sent")), Number(part("planned"))];
        return first(
          observed.stream(streams[0] ?? "").sentPackets !== sent && "it counts otherwise",
          Number(part("share")) > (100 * (planned - sent)) / planned + 0.1 && "fewer are short",
        );
      },
    },
    {
      // What the source did not send has no number.
      says: /^No number is missing for that: what was not sent was not lost\. What was measured is of less than the planned time\.$/,
      untrue: () => null,
    },
    {
      says: new RegExp(
        `^(?<frames>${COUNT}) frames? at the network card, 0 packets at the socket, of (?<sent>${COUNT}) sent\\.$`,
      ),
      untrue: (part, finding, observed) => {
        const own = entries(finding, observed, finding.suspects[0] ?? "").filter((one) => one.receivedPackets === 0);
        return sum(own.map((one) => one.nicFrames ?? 0)) >= Number(part("frames")) ? null : "fewer frames";
      },
    },
    {
      // What the host counts is no more than what is missing.
      says: new RegExp(
        `^The host's own counters account for (?<of>${COUNT}) of (?<missing>${COUNT}) missing packets? \\([0-9.]+ % of all\\); they are taken out of the network's figures\\.$`,
      ),
      untrue: (part) => (Number(part("of")) <= Number(part("missing")) ? null : "more than are missing"),
    },
    {
      says: new RegExp(`^(?<source>[^ ]+) counts (?<sent>${COUNT}) packets? sent$`),
      untrue: (part, { streams }, observed) =>
        observed.stream(streams[0] ?? "").sentPackets === Number(part("sent")) ? null : "it does not",
    },
    {
      says: /^(?<source>[^ ]+) says that it is not sending$/,
      untrue: (_, { streams }, observed) =>
        observed.stream(streams[0] ?? "").sourceState === "not-sending" ? null : "it does not",
    },
    {
      says: new RegExp(`^(?<hosts>${COUNT}) listeners? reported, and no packet came to any$`),
      untrue: (part, { streams }, observed) => {
        const own = observed.reported(streams[0] ?? "");
        return own.length === Number(part("hosts")) && own.every((one) => one.receivedPackets === 0)
          ? null
          : `${own.length} did`;
      },
    },
    {
      says: new RegExp(`^Silence from (?<from>${TIME}) to (?<to>${TIME})\\.$`),
      untrue: (part) => (ms(part("from")) <= ms(part("to")) ? null : "ends before it begins"),
    },
    {
      says: new RegExp(`^The source's own log counts (?<pauses>${COUNT}) pauses? of 0.50 s and more\\.$`),
      untrue: (part, { streams }, observed) =>
        observed.stream(streams[0] ?? "").stalls.filter((one) => one.endMs - one.startMs >= 500).length ===
        Number(part("pauses"))
          ? null
          : "another number",
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) share it, and the numbers go on without a gap; (?:the source itself logged none as long|nothing measures on the source)\\.$`,
      ),
      untrue: (part, finding, observed) =>
        each(part("hosts"), finding, observed, (one) => one.silences.some((gap) => gap.missingPackets === 0)),
    },
  ],
};
