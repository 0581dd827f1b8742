import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

interface HitByOthers extends StreamFacts {
  readonly hit: readonly PlacedReceipt[];
}

const row = rowsOf<StreamFacts>({ streams: ({ stream }) => [stream.stream], suspects: () => [] });

const FOREIGN = row({
  kind: "foreign-traffic",
  match: (facts): HitByOthers | null => {
    const hit = facts.receipts.filter(({ listener }) => (listener.foreignPackets ?? 0) > 0);
    return hit.length === 0 ? null : { ...facts, hit };
  },
  title: ({ stream, hit }) =>
    `Somebody else sends to ${stream.group}: ${nameList(hit.map(({ listener }) => listener.host))} got packets that are not of this run`,
  evidence: ({ hit }) =>
    hit
      .slice(0, 5)
      .map(
        ({ listener }) => `${listener.host}: ${count(listener.foreignPackets ?? 0, "packet")} that are not this run's`,
      ),
  advice: "Choose another group for the test, or find the sender: two sources on one group and port garble each other.",
  reference: "RFC 2365, section 6; common practice",
});

export const findForeignPackets = (streams: readonly StreamFacts[]): Finding[] => findingsOf([FOREIGN], streams);
