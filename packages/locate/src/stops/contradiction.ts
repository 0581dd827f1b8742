import type { BadPair } from "../cover/failure-set.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** Silence on a way of which every part is proven good at that time. */
interface Contradiction {
  readonly stream: string;
  readonly hosts: readonly string[];
}

const row = rowsOf<Contradiction>({ streams: ({ stream }) => [stream], suspects: () => [] });

const CONTRADICTION = row({
  kind: "inconclusive",
  match: (one) => one,
  title: ({ stream, hosts }) =>
    `${nameList(hosts)} got nothing of ${stream}, although every part of the way is proven good by other packets`,
  evidence: () => [
    "Other streams of the same group came through every segment and node of this way at the same time, so the cause depends on the source, or the plan is wrong.",
  ],
  advice:
    "Compare what differs between this stream and those that pass: the source (a router checks the reverse path to each source by itself), the address, the time.",
  reference: "RFC 7761, section 4.2",
});

export function findContradictions(unexplained: readonly BadPair<StreamTrial>[]): Finding[] {
  const byStream = new Map<StreamFacts, string[]>();
  for (const { trial, outcome } of unexplained) {
    const hosts = byStream.get(trial.facts) ?? [];
    if (outcome.receipt !== null) hosts.push(outcome.receipt.listener.host);
    byStream.set(trial.facts, hosts);
  }
  return findingsOf(
    [CONTRADICTION],
    [...byStream].map(([{ stream }, hosts]) => ({ stream: stream.stream, hosts })),
  );
}
