import type { ReportFinding } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";
import type { CompiledStream } from "../plan/compiled-run.ts";
import { commonSilence, whenSilent } from "./common-silence.ts";

/** How sure a place can be where nobody knows that anything was sent. Our choice, no source. */
const MOST_UNSEEN = 0.5;
/** A stream whose last packet came this long before everybody left has ended. */
const ENDED_NS = 2e9;

/** What the reader has to know of streams that were followed: how their packets were told apart, and what nobody can say. */
export function followedNotes({ run, sources, stays }: RunAccount): string[] {
  return run.streams.flatMap((stream) => {
    const { name, followed } = stream;
    if (stream.production === undefined || followed === undefined) return [];
    const notes: string[] = [];
    notes.push(...watchNotes(stream, run));
    if (followed.isUnseen && !run.joins.some(({ stream: joined }) => joined === name)) {
      notes.push(
        `Nobody here had joined ${name}, and nothing of it came: whether it is sent can't be known from these hosts.`,
      );
      return notes;
    }
    if (followed.isUnseen) {
      notes.push(
        `Nobody saw a packet of ${name}: it was not sent, or it stops before the ways to its listeners part. Which of the two can't be known from these hosts.`,
      );
      return notes;
    }
    if (followed.senders.length > 1) {
      notes.push(`${name} came from ${followed.senders.length} addresses: ${followed.senders.join(", ")}.`);
    }
    if (followed.identifiedBy === null) {
      notes.push(
        `The packets of ${name} repeat each other, so they can't be told apart: rates and silences are measured, losses are not known.`,
      );
    }
    if (followed.identifiedBy === "digest") {
      notes.push(
        `${name} bears no sequence number: its packets are told apart by their payload, and lost means that another listener had it. What was lost before the ways part is not known.`,
      );
    }
    if (followed.identifiedBy === "continuity") {
      const missing = followed.missingToAll;
      notes.push(
        `${name} is a transport stream: its packets are told apart by their payload, and its continuity counters show what was missing to all${missing === null ? ", which is not known here, as not every packet was compared" : missing === 0 ? ": nothing" : `: ${missing} packets at least`}.`,
      );
    }
    if (followed.comparedOneIn > 1) {
      notes.push(
        `Of ${name} one packet in ${followed.comparedOneIn} was compared, the same ones everywhere: counts of it are of those.`,
      );
    }
    const silence = commonSilence(stream, stays);
    if (silence !== null) {
      notes.push(
        `Nobody received ${name} ${whenSilent(silence)}: it paused, or it stopped before the ways to its listeners part. Its packets bear no sequence number that would tell which.`,
      );
    }
    const ended = endedNs(stream, run.joins, sources.get(name)?.emission.intervals.at(-1)?.toNs ?? null, run.endNs);
    if (ended !== null) {
      notes.push(
        `Nobody received ${name} from ${(ended / 1e9).toFixed(0)} s on: it ended there, or it stopped before the ways to its listeners part.`,
      );
    }
    return notes;
  });
}

/** Agents that were to follow what a program on their host had joined, and those that found such a program. */
function watchNotes({ name, followed }: CompiledStream, { joins, scenario }: RunAccount["run"]): string[] {
  const own = joins.flatMap(({ stream, agent, isOfHost }) => (stream === name && isOfHost === true ? [agent] : []));
  const named = scenario.timeline.flatMap((action) =>
    action.kind === "watch" && action.stream === name ? (action.agents ?? []) : [],
  );
  const others = [...new Set(named)].filter((agent) => !own.includes(agent));
  const missed = others.filter((agent) => followed?.watchers.includes(agent));
  const unknown = others.filter((agent) => !missed.includes(agent));
  const members = [...new Set(own)];
  return [
    ...(members.length === 0
      ? []
      : [
          `Of ${name} what came to ${members.join(", ")} was followed at the network card: a program there has joined it, and this run has not. What that program got of it is not known.`,
        ]),
    ...(missed.length === 0
      ? []
      : [`No program on ${missed.join(", ")} was found to have joined ${name}, so nothing of it was to come there.`]),
    ...(unknown.length === 0
      ? []
      : [`${unknown.join(", ")} could not follow ${name} at the network card: what came there is not known.`]),
  ];
}

/** @returns when a stream ended, where that was well before everybody left */
export function endedNs(
  { name }: CompiledStream,
  joins: RunAccount["run"]["joins"],
  lastNs: number | null,
  endNs: number,
): number | null {
  const leftNs = joins.reduce((last, { stream, toNs }) => (stream === name ? Math.max(last, toNs ?? endNs) : last), 0);
  return lastNs !== null && leftNs - lastNs >= ENDED_NS ? lastNs : null;
}

/** What was found of streams that nobody saw rests on the assumption that they are sent: that is said, and nothing is sure. */
export function doubtUnseen<T extends Pick<ReportFinding, "streams" | "confidence" | "evidence" | "suspects">>(
  findings: readonly T[],
  { run }: RunAccount,
): T[] {
  const unseen = new Map(
    run.streams.flatMap((one) => (one.followed?.isUnseen === true ? [[one.name, one] as const] : [])),
  );
  return findings.map((finding) => {
    const own = finding.streams.flatMap((name) => unseen.get(name) ?? []);
    if (own.length === 0) return finding;
    const sources = own.map(({ sourceHost }) => sourceHost);
    return {
      ...finding,
      confidence: Math.min(finding.confidence, MOST_UNSEEN),
      suspects: [...new Set([...finding.suspects, ...sources])],
      evidence: [
        "Nobody saw a packet, and no agent runs on the sender: this is the place if it is sent, and if it is not, the sender is the cause.",
        ...finding.evidence,
      ],
    };
  });
}
