import { type DiagnosisRule, diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** Streams about which nothing can be said of the network: the source sent nothing, or nobody reported. */
const SOURCE_RULES: readonly DiagnosisRule<StreamFacts>[] = [
  {
    kind: "source-not-sending",
    when: ({ stream }) => stream.sourceState === "not-sending" || stream.sentPackets === 0,
    title: ({ stream }) =>
      `${stream.source} does not send ${stream.stream}: the network is not to blame for the silence`,
    evidence: ({ stream, receipts }) => [
      stream.sentPackets === null
        ? `${stream.source} says that it is not sending`
        : `${stream.source} counts ${count(stream.sentPackets, "packet")} sent`,
      `${count(receipts.length, "listener")} reported, with ${count(receivedBy(receipts), "packet")} in all`,
    ],
    advice:
      "Look at the source host: is sending allowed there, does a route for the group lead out of the right interface, did its agent report a send error?",
    reference: "RFC 1112, section 6.1",
  },
  {
    kind: "inconclusive",
    when: ({ receipts, missing }) => receipts.length === 0 && missing.length > 0,
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: ${nameList(missing.map((l) => l.host))} did not report`,
    advice: "Bring the agents of these hosts back and repeat the run.",
    reference: "common practice",
  },
];

const receivedBy = (receipts: StreamFacts["receipts"]): number =>
  receipts.reduce((sum, receipt) => sum + receipt.listener.receivedPackets, 0);

export function findSilentSources(streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap((facts) => {
    const rule = diagnose(SOURCE_RULES, facts);
    if (rule === null) return [];
    const isSource = rule.kind === "source-not-sending";
    return {
      kind: rule.kind,
      streams: [facts.stream.stream],
      suspects: isSource ? [facts.stream.source] : [],
      confidence: isSource ? 0.97 : 0.5,
      title: rule.title(facts),
      evidence: rule.evidence?.(facts) ?? [],
      advice: rule.advice,
      reference: rule.reference,
    };
  });
}
