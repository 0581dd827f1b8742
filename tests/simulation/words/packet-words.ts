import { each, ofStreams, sum } from "./checks.ts";
import { COUNT, first, isListOf, NAMES, namesIn, type PhraseBook } from "./phrase.ts";
import { SCOPED, untrueNothing } from "./stop-words.ts";

/** Packets that come changed, or that are not the run's; and what nobody can tell. */
export const PACKET_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) =>
    [
      "converted-to-unicast",
      "dscp-rewritten",
      "foreign-traffic",
      "ttl-too-small",
      "inconclusive",
      "duplicates",
    ].includes(kind),
  titles: [
    {
      // Each of these hosts counted copies.
      says: new RegExp(
        `^(?<streams>${NAMES}) comes? more than once at (?<hosts>${NAMES}), [0-9.]+ copies to 100 packets: they are made .+$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          ofStreams(part("streams"), finding),
          each(part("hosts"), finding, observed, ({ duplicatePackets }) => (duplicatePackets ?? 0) > 0),
        ),
    },
    {
      says: new RegExp(
        `^(?<streams>${NAMES}) reach(?:es)? (?<hosts>${NAMES}) in unicast frames(?<way>, converted on the way: by (?<one>one of )?(?<by>${NAMES}))?$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          ofStreams(part("streams"), finding),
          each(part("hosts"), finding, observed, ({ unicastRatio }) => (unicastRatio ?? 0) >= 0.5),
          part("way") !== "" && !isListOf(part("by"), finding.suspects) && "other suspects",
          finding.suspects.length > 1 && part("one") === "" && "by all of several suspects",
        ),
    },
    {
      // Each value that is named was sent or seen, and each host saw one of them that was not the one sent.
      says: new RegExp(
        `^(?<streams>${NAMES}) (?:was|were) sent with DSCP (?<sent>${NAMES}) and reach(?:es)? (?<hosts>${NAMES}) with DSCP (?<seen>${NAMES})$`,
      ),
      untrue: (part, finding, observed) => {
        const [sent, seen] = [namesIn(part("sent")).names, namesIn(part("seen")).names];
        return first(
          ofStreams(part("streams"), finding),
          !isListOf(
            part("sent"),
            finding.streams.map((stream) => `${observed.stream(stream).dscp}`),
          ) && `not all sent with ${sent}`,
          each(
            part("hosts"),
            finding,
            observed,
            ({ dscpSeen, stream }) => seen.includes(`${dscpSeen}`) && observed.stream(stream).dscp !== dscpSeen,
          ),
        );
      },
    },
    {
      says: new RegExp(
        `^Somebody else sends to (?<group>[^ ]+): (?<hosts>${NAMES}) got packets that are not of this run$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          observed.stream(finding.streams[0] ?? "").group !== part("group") && "another group",
          each(part("hosts"), finding, observed, ({ foreignPackets }) => (foreignPackets ?? 0) > 0),
        ),
    },
    {
      // All of these hosts lie behind that router, which is the one that many hops away, and got nothing.
      says: new RegExp(
        `^(?<streams>${NAMES}) sent with TTL (?<ttl>${COUNT}) ends? at (?<router>[^ ]+), hop ${COUNT}: (?<hosts>${NAMES}) behind it got nothing(?<rest>.*)$`,
      ),
      untrue: (part, finding, observed) => {
        for (const host of namesIn(part("hosts")).names) {
          for (const stream of finding.streams) {
            if (!observed.isBehind(stream, host, part("router"))) return `${host} is not behind ${part("router")}`;
          }
        }
        return first(
          ofStreams(part("streams"), finding),
          each(part("hosts"), finding, observed, (one) => one.receivedPackets === 0),
        );
      },
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) got nothing of (?<stream>[^ ,]+)(?<when>| (?:after|from) .+| for a part of the run), although every part of the way is proven good by other packets$`,
      ),
      untrue: (part, _, observed) =>
        untrueNothing(namesIn(part("hosts")).names, part("when"), [part("stream")], observed),
    },
    {
      says: new RegExp(
        `^(?<source>[^ ]+) says that it sends nothing of (?<stream>[^ ]+), and (?<hosts>${NAMES}) received some: one of the two is wrong$`,
      ),
      untrue: (part, finding, observed) => each(part("hosts"), finding, observed, (one) => one.receivedPackets > 0),
    },
    {
      says: new RegExp(`^Nothing can be said about (?<stream>[^ ]+): (?<hosts>${NAMES}) did not report$`),
      untrue: (part, _, observed) => {
        const told = namesIn(part("hosts")).names.filter((host) =>
          observed.listeners(part("stream")).every((one) => one.host !== host || one.state === "reported"),
        );
        return told.length === 0 ? null : `${told} did`;
      },
    },
    {
      says: new RegExp(
        `^Nothing can be said about (?<stream>[^ ]+): (?<source>[^ ]+) did not report what it sent, so nobody knows which packets (?<hosts>${NAMES}) should have received$`,
      ),
      untrue: (part, _, observed) =>
        first(
          observed.stream(part("stream")).source !== part("source") && "another source",
          observed.stream(part("stream")).sentPackets !== null && "it did",
        ),
    },
    {
      says: new RegExp(
        `^Nothing can be said about (?<stream>[^ ]+): (?<source>[^ ]+) sent none of it while (?<hosts>${NAMES}) (?:was|were) joined$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          observed.stream(part("stream")).sentPackets === null && "it did not report",
          each(part("hosts"), finding, observed, (one) => one.receivedPackets === 0),
        ),
    },
    {
      says: new RegExp(
        `^Nothing can be said about (?<stream>[^ ]+): what (?<hosts>${NAMES}) reported does not tell which of its packets came$`,
      ),
      untrue: (part, finding, observed) => each(part("hosts"), finding, observed, (one) => one.window === null),
    },
  ],
  evidence: [
    SCOPED,
    {
      says: new RegExp(
        `^(?<host>[^ ]+): (?<packets>${COUNT}) packets? of (?<of>[^ ]+), and (?<copies>${COUNT}) cop(?:y|ies) of them$`,
      ),
      untrue: (part, _, observed) =>
        observed
          .of(part("of"), part("host"))
          .some(
            ({ receivedPackets, duplicatePackets }) =>
              receivedPackets === Number(part("packets")) && duplicatePackets === Number(part("copies")),
          )
          ? null
          : "other counts",
    },
    {
      // What they counted is less than half of what the others did.
      says: new RegExp(`^(?<hosts>${NAMES}) got every packet once, or nearly\\.$`),
      untrue: (part, finding, observed) =>
        each(
          part("hosts"),
          finding,
          observed,
          (one) => (one.duplicatePackets ?? Number.POSITIVE_INFINITY) < one.receivedPackets / 2,
        ),
    },
    {
      says: /^No listener of these streams got every packet once, so the copies may be made at the source itself\.$/,
      untrue: () => null,
    },
    {
      says: /^(?<host>[^ ]+): [0-9.]+ % of the frames addressed to it alone$/,
      untrue: (part, finding, observed) =>
        each(part("host"), finding, observed, ({ unicastRatio }) => unicastRatio !== null),
    },
    {
      says: new RegExp(`^(?<host>[^ ]+) sees DSCP (?<dscp>${COUNT})$`),
      untrue: (part, finding, observed) =>
        each(part("host"), finding, observed, ({ dscpSeen }) => `${dscpSeen}` === part("dscp")),
    },
    {
      says: new RegExp(`^(?<host>[^ ]+): (?<packets>${COUNT}) packets? that are not this run's$`),
      untrue: (part, finding, observed) =>
        each(part("host"), finding, observed, ({ foreignPackets }) => foreignPackets === Number(part("packets"))),
    },
    {
      says: new RegExp(`^(?<host>[^ ]+) lies behind ${COUNT} routers? \\(.+\\), so TTL ${COUNT} reaches it$`),
      untrue: () => null,
    },
    {
      says: /^Packets came through every segment and node of this way at that time, so the cause depends on the source, or the plan is wrong\.$/,
      untrue: () => null,
    },
    {
      says: new RegExp(`^(?<packets>${COUNT}) packets? in all came to (?<hosts>${COUNT}) listeners?\\.$`),
      untrue: (part, { streams }, observed) => {
        const came = observed.reported(streams[0] ?? "").filter((one) => one.receivedPackets > 0);
        return sum(came.map((one) => one.receivedPackets)) === Number(part("packets")) &&
          new Set(came.map(({ host }) => host)).size === Number(part("hosts"))
          ? null
          : "other counts";
      },
    },
    {
      says: new RegExp(`^(?<host>[^ ]+) received (?<packets>${COUNT}) packets?\\.$`),
      untrue: (part, finding, observed) =>
        each(part("host"), finding, observed, (one) => one.receivedPackets === Number(part("packets"))),
    },
    {
      says: /^(?<source>[^ ]+) did not report how much of (?<stream>[^ ]+) it sent\.$/,
      untrue: (part, _, observed) => (observed.stream(part("stream")).sentPackets === null ? null : "it did"),
    },
  ],
};
