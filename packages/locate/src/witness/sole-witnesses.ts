import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { nodesDownTo } from "../site/source-tree.ts";

/**
 * Hosts without whose good word a fault could lie elsewhere: on the way to somebody who fares badly, somewhere, nobody
 * but one of them shows that the way is good, for any stream or for one of the same group.
 */
export function soleWitnesses(streams: readonly StreamFacts[], findings: readonly Finding[]): string[] {
  // Who lost some of a stream is a good witness where all of it stops, and the other way round.
  const isStop = ({ kind }: Finding): boolean => FINDING_KINDS[kind].glyph === "stop";
  const isLossy = ({ lostPackets }: PlacedReceipt): boolean => lostPackets > 0;
  return [
    ...new Set([
      ...solesBeside(streams, badPairs(findings.filter(isStop)), isSilentAtEnd),
      ...solesBeside(streams, badPairs(findings.filter((finding) => !isStop(finding))), isLossy),
    ]),
  ];
}

const isSilentAtEnd = ({ lost, window }: PlacedReceipt): boolean => (lost.at(-1)?.[1] ?? -1) >= window[1];

/** @param isHit whether a receipt is one of those that findings about its stream and host speak of */
function solesBeside(
  streams: readonly StreamFacts[],
  bad: ReadonlySet<string>,
  isHit: (receipt: PlacedReceipt) => boolean,
): string[] {
  if (bad.size === 0) return [];
  const ofAll = new Steps();
  const ofGroups = new Map<string, Steps>();
  const everything = [ofAll];
  for (const { stream, tree, groupKey, receipts, bystanders } of streams) {
    const isBad = (receipt: PlacedReceipt): boolean =>
      isHit(receipt) && bad.has(pairKey(stream.stream, receipt.listener.host));
    const known = ofGroups.get(groupKey);
    const ofGroup = known ?? new Steps();
    if (known === undefined) everything.push(ofGroup);
    ofGroups.set(groupKey, ofGroup);
    const below = new Map<number, string | typeof SEVERAL>();
    for (const receipt of receipts) {
      const { node, listener } = receipt;
      if (listener.receivedPackets > 0 && !isBad(receipt)) below.set(node, listener.host);
    }
    for (const { node, bystander } of bystanders) if (bystander.frames > 0) below.set(node, bystander.host);
    for (let at = tree.order.length - 1; at > 0; at--) {
      const node = tree.order[at] ?? 0;
      const host = below.get(node);
      if (host === undefined) continue;
      const parent = tree.parent[node] ?? 0;
      const other = below.get(parent);
      below.set(parent, other === undefined || other === host ? host : SEVERAL);
      for (const steps of [ofAll, ofGroup]) steps.add(tree.into[node] ?? -1, host);
    }
    for (const receipt of receipts) {
      if (!isBad(receipt)) continue;
      for (const step of nodesDownTo(tree, receipt.node)) {
        for (const steps of [ofAll, ofGroup]) steps.asked.add(tree.into[step] ?? -1);
      }
    }
  }
  return everything.flatMap((steps) => steps.soles());
}

const SEVERAL = "";

/** Who shows that the way is good, by the number of the segment, for all streams or for those of one group. */
class Steps {
  readonly #witnesses = new Map<number, string | typeof SEVERAL>();
  /** Segments on the way to somebody who fares badly. */
  readonly asked = new Set<number>();

  add(segment: number, host: string | typeof SEVERAL): void {
    const known = this.#witnesses.get(segment);
    this.#witnesses.set(segment, known === undefined || known === host ? host : SEVERAL);
  }

  soles(): string[] {
    return [...this.asked].flatMap((segment) => this.#witnesses.get(segment) ?? []).filter((host) => host !== SEVERAL);
  }
}

const pairKey = (stream: string, host: string): string => `${stream} ${host}`;

const badPairs = (findings: readonly Finding[]): Set<string> =>
  new Set(
    findings.flatMap(({ streams, witnesses = [] }) =>
      streams.flatMap((stream) => witnesses.map((host) => pairKey(stream, host))),
    ),
  );
