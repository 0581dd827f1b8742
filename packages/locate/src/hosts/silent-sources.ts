import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, instant, nameList, seconds } from "../finding/wording.ts";
import type { ListenerObservation, StreamObservation } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { breakWords, firstBegunAnew } from "./source-breaks.ts";

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
      const begunAnew = isUntold(facts) && facts.stream.sentPackets === null ? firstBegunAnew(facts.stream) : null;
      return begunAnew === null ? null : { ...facts, begunAnew };
    },
    title: ({ stream, begunAnew, missing }) =>
      `Nothing can be said about ${stream.stream} over the whole run: ${breakWords(stream, begunAnew)}; from ${seconds(begunAnew.againMs)} on it sent again with numbers from 0, so what ${nameList(missing.map((l) => l.host))} lost is told for each part by itself`,
    evidence: ({ stream, missing }) => [
      ...(stream.breaks ?? []).map(
        (one) =>
          `${breakWords(stream, one)}${one.againMs === null ? "" : `. It sent again from ${seconds(one.againMs)} on`}.`,
      ),
      ...receivedLines(missing),
    ],
    advice:
      "The stretches in the report's JSON count each part. See why the source lost its controller or was started anew; then repeat the run.",
    reference: "common practice",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => {
      const silent = facts.missing.filter(({ state, isInPieces }) => state === "no-report" && isInPieces !== true);
      return facts.receipts.length === 0 && silent.length > 0 ? { ...facts, silent } : null;
    },
    title: ({ stream, silent }) =>
      `Nothing can be said about ${stream.stream}: ${nameList(silent.map((l) => l.host))} did not report`,
    advice: "Bring the agents of these hosts back and repeat the run.",
    reference: "common practice",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => (isUntold(facts) && facts.stream.sentPackets === null ? facts : null),
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: ${stream.source} did not report what it sent, so nobody knows which packets ${nameList(missing.map((l) => l.host))} should have received`,
    evidence: ({ missing }) => receivedLines(missing),
    advice: "See that the source's agent runs and stays connected to the end; then repeat the run.",
    reference: "common practice",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => (isUntold(facts) && facts.missing.every((one) => wasNothingSentFor(facts, one)) ? facts : null),
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: ${stream.source} sent none of it while ${nameList(missing.map((l) => l.host))} ${missing.length === 1 ? "was" : "were"} joined`,
    evidence: ({ stream, missing }) => [
      ...sentLines(stream),
      ...missing.slice(0, MOST_LINES).map(({ host, joinedFromMs, joinedToMs }) => {
        const left = joinedToMs === null ? "" : ` and left ${instant(joinedToMs)}`;
        return `${host} joined ${instant(joinedFromMs)}${left}.`;
      }),
    ],
    advice:
      "Where the scenario has it sent at that time, look at the source host: was its agent held up, stopped or started anew? Where it does not, let these hosts join earlier. Then repeat the run.",
    reference: "common practice",
  }),
  row({
    kind: "inconclusive",
    match: (facts) => (isUntold(facts) ? facts : null),
    title: ({ stream, missing }) =>
      `Nothing can be said about ${stream.stream}: what ${nameList(missing.map((l) => l.host))} reported does not tell which of its packets came`,
    evidence: ({ stream, missing }) => [...sentLines(stream), ...receivedLines(missing)],
    advice:
      "A source that is started anew many times, or a listener whose list of gaps grew too long, does that. See the notes of the run, then repeat it.",
    reference: "common practice",
  }),
];

/** Nobody's packets can be told, though some reported. */
const isUntold = ({ receipts, missing }: StreamFacts): boolean => receipts.length === 0 && missing.length > 0;

/** By the source's own times. @returns false where they are not known */
function wasNothingSentFor({ stream }: StreamFacts, listener: ListenerObservation): boolean {
  const { firstSentMs, lastSentMs, steps } = stream;
  const { joinedFromMs, joinedToMs, receivedPackets } = listener;
  if (firstSentMs === null || lastSentMs === null || receivedPackets > 0) return false;
  const toMs = joinedToMs ?? Number.POSITIVE_INFINITY;
  const isSentIn = (fromMs: number, untilMs: number): boolean => fromMs < toMs && untilMs > joinedFromMs;
  return !isSentIn(firstSentMs, lastSentMs) || !steps.some(({ startMs, endMs }) => isSentIn(startMs, endMs));
}

/** What the source counts, beside what was planned where that is more. */
function sentLines({
  source,
  sentPackets,
  plannedPackets = null,
  firstSentMs,
  lastSentMs,
}: StreamObservation): string[] {
  if (sentPackets === null) return [];
  const when =
    firstSentMs === null || lastSentMs === null ? "" : `, from ${seconds(firstSentMs)} to ${seconds(lastSentMs)}`;
  const planned = plannedPackets === null || plannedPackets <= sentPackets ? "" : ` of ${plannedPackets} planned`;
  return [`${source} counts ${count(sentPackets, "packet")} sent${planned}${when}.`];
}

const receivedLines = (missing: readonly ListenerObservation[]): string[] =>
  missing
    .filter(({ state }) => state === "reported") // of the others nobody knows how many
    .slice(0, MOST_LINES)
    .map((one) => `${one.host} received ${count(one.receivedPackets, "packet")}.`);

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
