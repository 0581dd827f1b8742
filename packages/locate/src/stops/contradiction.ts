import type { BadPair } from "../cover/failure-set.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { type SilentTime, silentTime } from "./silent-groups.ts";
import type { SilentPair } from "./silent-pair.ts";
import { timePhrase } from "./stop-wording.ts";

/** Silence on a way of which every part is proven good at that time. */
interface Contradiction {
  readonly stream: string;
  readonly hosts: readonly string[];
  /** When they got nothing; null where nothing ever came to any. */
  readonly time: SilentTime | null;
}

const row = rowsOf<Contradiction>({
  streams: ({ stream }) => [stream],
  suspects: () => [],
  witnesses: ({ hosts }) => hosts,
});

const CONTRADICTION = row({
  kind: "inconclusive",
  match: (one) => one,
  title: ({ stream, hosts, time }) =>
    `${nameList(hosts)} got nothing of ${stream}${timePhrase(time)}, although every part of the way is proven good by other packets`,
  evidence: () => [
    "Packets came through every segment and node of this way at that time, so the cause depends on the source, or the plan is wrong.",
  ],
  advice:
    "Compare what differs between this stream and those that pass: the source (a router checks the reverse path to each source by itself), the address, the time.",
  reference: "RFC 7761, section 4.2",
});

export function findContradictions(unexplained: readonly BadPair<StreamTrial>[]): Finding[] {
  const byStream = new Map<StreamFacts, SilentPair[]>();
  for (const { trial, outcome } of unexplained) {
    const { receipt, bad, silentFromSeq } = outcome;
    if (receipt === null || bad === null || silentFromSeq === null) continue;
    const pair = { trial, receipt, seq: silentFromSeq, atMs: bad.startMs, span: bad };
    byStream.set(trial.facts, [...(byStream.get(trial.facts) ?? []), pair]);
  }
  return findingsOf(
    [CONTRADICTION],
    [...byStream].map(([{ stream }, pairs]) => ({
      stream: stream.stream,
      hosts: pairs.map(({ receipt }) => receipt.listener.host),
      time: silentTime(pairs),
    })),
  );
}
