import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

const row = rowsOf<StreamFacts>({ streams: ({ stream }) => [stream.stream], suspects: () => [] });

/** Streams about which nothing can be said of the network: the source sent nothing, or nobody reported. */
const ROWS: readonly FindingRule<StreamFacts>[] = [
  row({
    kind: "source-not-sending",
    match: (facts) => (facts.stream.sourceState === "not-sending" || facts.stream.sentPackets === 0 ? facts : null),
    title: ({ stream }) =>
      `${stream.source} does not send ${stream.stream}: the network is not to blame for the silence`,
    evidence: ({ stream, receipts }) => [
      stream.sentPackets === null
        ? `${stream.source} says that it is not sending`
        : `${stream.source} counts ${count(stream.sentPackets, "packet")} sent`,
      `${count(receipts.length, "listener")} reported, with ${count(receivedBy(receipts), "packet")} in all`,
    ],
    suspects: ({ stream }) => [stream.source],
    advice:
      "Look at the source host: is sending allowed there, does a route for the group lead out of the right interface, did its agent report a send error?",
    reference: "RFC 1112, section 6.1",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => (facts.receipts.length === 0 && facts.missing.length > 0 ? facts : null),
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: ${nameList(missing.map((l) => l.host))} did not report`,
    advice: "Bring the agents of these hosts back and repeat the run.",
    reference: "common practice",
  }),
];

const receivedBy = (receipts: StreamFacts["receipts"]): number =>
  receipts.reduce((sum, receipt) => sum + receipt.listener.receivedPackets, 0);

export const findSilentSources = (streams: readonly StreamFacts[]): Finding[] => findingsOf(ROWS, streams);
