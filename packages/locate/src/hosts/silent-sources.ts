import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

const row = rowsOf<StreamFacts>({ streams: ({ stream }) => [stream.stream], suspects: () => [] });

/** The source's own word. */
const saysNothingSent = ({ stream }: StreamFacts): boolean =>
  stream.sourceState === "not-sending" || stream.sentPackets === 0;

/** Streams about which nothing can be said of the network: the source sent nothing, or nobody can tell what should have come. */
const ROWS: readonly FindingRule<StreamFacts>[] = [
  row({
    kind: "inconclusive",
    match: (facts) => (saysNothingSent(facts) && gotSome(facts).length > 0 ? facts : null),
    title: (facts) =>
      `${facts.stream.source} says that it sends nothing of ${facts.stream.stream}, and ${nameList(gotSome(facts))} received some: one of the two is wrong`,
    suspects: ({ stream }) => [stream.source],
    evidence: (facts) => [
      `${count(receivedBy(facts), "packet")} in all came to ${count(gotSome(facts).length, "listener")}.`,
    ],
    advice: "See what else sends to this group and port, and whether the source's agent was started anew.",
    reference: "common practice",
  }),
  row({
    kind: "source-not-sending",
    match: (facts) => (saysNothingSent(facts) ? facts : null),
    title: ({ stream }) =>
      `${stream.source} does not send ${stream.stream}: the network is not to blame for the silence`,
    evidence: (facts) => [
      facts.stream.sentPackets === null
        ? `${facts.stream.source} says that it is not sending`
        : `${facts.stream.source} counts ${count(facts.stream.sentPackets, "packet")} sent`,
      `${count(reported(facts).length, "listener")} reported, and no packet came to any`,
    ],
    suspects: ({ stream }) => [stream.source],
    advice:
      "Look at the source host: is sending allowed there, does a route for the group lead out of the right interface, did its agent report a send error?",
    reference: "RFC 1112, section 6.1",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => {
      const silent = facts.missing.filter(({ state }) => state === "no-report");
      return facts.receipts.length === 0 && silent.length > 0 ? { ...facts, silent } : null;
    },
    title: ({ stream, silent }) =>
      `Nothing can be said about ${stream.stream}: ${nameList(silent.map((l) => l.host))} did not report`,
    advice: "Bring the agents of these hosts back and repeat the run.",
    reference: "common practice",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => (facts.receipts.length === 0 && facts.missing.length > 0 ? facts : null),
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: it is not known which of its packets ${nameList(missing.map((l) => l.host))} should have received`,
    evidence: ({ stream, missing }) => [
      ...(stream.sentPackets === null ? [`${stream.source} did not report how much of ${stream.stream} it sent.`] : []),
      ...missing.slice(0, MOST_LINES).map((l) => `${l.host} received ${count(l.receivedPackets, "packet")}.`),
    ],
    advice:
      "See that these hosts are joined while the stream is sent, and that the source's agent reports to the end; then repeat the run.",
    reference: "common practice",
  }),
];

const MOST_LINES = 5;

const reported = ({ receipts, missing }: StreamFacts): ListenerObservation[] => [
  ...receipts.map(({ listener }) => listener),
  ...missing.filter(({ state }) => state === "reported"),
];
const gotSome = (facts: StreamFacts): string[] => [
  ...new Set(reported(facts).flatMap(({ host, receivedPackets }) => (receivedPackets > 0 ? [host] : []))),
];
const receivedBy = (facts: StreamFacts): number =>
  reported(facts).reduce((sum, { receivedPackets }) => sum + receivedPackets, 0);

export const findSilentSources = (streams: readonly StreamFacts[]): Finding[] => findingsOf(ROWS, streams);
