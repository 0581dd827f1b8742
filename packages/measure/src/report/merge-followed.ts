import type { Followed } from "@dyetrace/wire";
import { joinNameBlocks } from "../follow/name-block.ts";
import { mergeTsFlows } from "../follow/ts-flow.ts";
import { mergeReceipts } from "../merge-receipts.ts";

const MOST_SOURCES = 8;
const MOST_FLOWS = 16;

type Rtp = Followed["rtp"][number];
type Ts = NonNullable<Rtp["ts"]>;

/** Two parts of one stay, `b` right after `a`, as one. */
export const mergeFollowed = (a: Followed, b: Followed): Followed => ({
  sources: [...new Set([...a.sources, ...b.sources])].slice(0, MOST_SOURCES),
  rtp: joinRtp(a.rtp, b.rtp),
  digest: {
    packets: a.digest.packets + b.digest.packets,
    bytes: a.digest.bytes + b.digest.bytes,
    names: joinNameBlocks(a.digest.names, b.digest.names),
    ts: joinTs(a.digest.ts, b.digest.ts),
  },
});

function joinRtp(a: readonly Rtp[], b: readonly Rtp[]): readonly Rtp[] {
  const flows = new Map(a.map((flow) => [flow.ssrc, flow]));
  for (const flow of b) {
    const before = flows.get(flow.ssrc);
    if (before === undefined) {
      if (flows.size < MOST_FLOWS) flows.set(flow.ssrc, flow);
      continue;
    }
    flows.set(flow.ssrc, {
      ...flow,
      packets: before.packets + flow.packets,
      bytes: before.bytes + flow.bytes,
      rejected: before.rejected + flow.rejected,
      receipt: mergeReceipts(before.receipt, flow.receipt),
      ts: joinTs(before.ts, flow.ts),
    });
  }
  return [...flows.values()];
}

const joinTs = (a: Ts | null, b: Ts | null): Ts | null => (a === null || b === null ? (a ?? b) : mergeTsFlows(a, b));
