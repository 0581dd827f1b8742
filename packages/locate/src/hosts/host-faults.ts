import { formatCount } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList, percent, verb } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** What one host does to the streams that it listens to. */
interface HostCase {
  readonly host: string;
  readonly streams: readonly string[];
  readonly receipts: readonly PlacedReceipt[];
  readonly sentPackets: number;
  readonly nicFrames: number;
  /** What the network's figures lack and what the host dropped of it. */
  readonly lostPackets: number;
  readonly hostLostPackets: number;
}

/** Host loss below this is not worth a finding; it is kept out of the network's figures all the same. Common practice, no source. */
const LEAST_HOST_LOSS = 0.001;
const LEAST_HOST_PACKETS = 10;

const isBlocked = ({ listener }: PlacedReceipt): boolean =>
  listener.receivedPackets === 0 && (listener.nicFrames ?? 0) > 0;

const row = rowsOf<HostCase>({ streams: ({ streams }) => streams, suspects: ({ host }) => [host] });

const ROWS: readonly FindingRule<HostCase>[] = [
  row({
    kind: "host-side-block",
    match: (host) => (host.receipts.every(isBlocked) ? host : null),
    title: ({ host, streams }) =>
      `${nameList(streams)} ${verb(streams, "arrive")} at the network card of ${host}, but nothing reaches the program: the host blocks it`,
    evidence: ({ nicFrames, sentPackets }) => [
      `${count(nicFrames, "frame")} at the network card, 0 packets at the socket, of ${sentPackets} sent.`,
    ],
    advice:
      "Look at the host's firewall rules for the group's UDP port, and at its reverse-path filter: with a strict one the source's subnet must be reachable through the same interface.",
    reference: "common practice; reverse-path filtering: RFC 3704, section 2.2",
  }),
  row({
    kind: "host-side-loss",
    match: (host) =>
      host.hostLostPackets >= Math.max(LEAST_HOST_PACKETS, LEAST_HOST_LOSS * host.sentPackets) ? host : null,
    title: ({ host, streams, hostLostPackets }) =>
      `${host} itself dropped ${count(hostLostPackets, "packet")} of ${nameList(streams)} that the network had delivered`,
    evidence: ({ hostLostPackets, lostPackets, sentPackets }) => [
      `The host's own counters account for ${formatCount(Math.min(hostLostPackets, lostPackets))} of ${count(lostPackets, "missing packet")} (${percent(Math.min(hostLostPackets, lostPackets) / Math.max(1, sentPackets))} of all); they are taken out of the network's figures.`,
    ],
    advice:
      "Raise the receive buffer limit of this host and see what else keeps its processor busy. Until then its figures do not speak for the network.",
    reference: "common practice, no standard",
  }),
];

/** What is wrong with listening hosts themselves. A host's blocked streams make one finding, its lossy ones another. */
export function findHostFaults(streams: readonly StreamFacts[]): Finding[] {
  const cases = new Map<string, { streams: string[]; receipts: PlacedReceipt[] }>();
  for (const { stream, receipts } of streams) {
    for (const receipt of receipts) {
      if (!isBlocked(receipt) && (receipt.listener.hostLostPackets ?? 0) === 0) continue;
      const key = `${receipt.listener.host} ${isBlocked(receipt)}`;
      const one = cases.get(key) ?? { streams: [], receipts: [] };
      cases.set(key, one);
      one.streams.push(stream.stream);
      one.receipts.push(receipt);
    }
  }
  return findingsOf(
    ROWS,
    [...cases.values()].map(({ streams: names, receipts }) => hostCase(names, receipts)),
  );
}

function hostCase(streams: readonly string[], receipts: readonly PlacedReceipt[]): HostCase {
  const sum = (of: (receipt: PlacedReceipt) => number): number =>
    receipts.reduce((total, receipt) => total + of(receipt), 0);
  return {
    host: receipts[0]?.listener.host ?? "",
    streams,
    receipts,
    sentPackets: sum((receipt) => receipt.sentPackets),
    nicFrames: sum(({ listener }) => listener.nicFrames ?? 0),
    lostPackets: sum((receipt) => receipt.lostPackets),
    hostLostPackets: sum(({ listener }) => listener.hostLostPackets ?? 0),
  };
}
