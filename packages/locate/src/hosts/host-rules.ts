import { type DiagnosisRule, diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { count, nameList, percent } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** What one host does to the streams that it listens to. */
interface HostCase {
  readonly host: string;
  readonly streams: readonly string[];
  readonly receipts: readonly PlacedReceipt[];
}

/** Host loss below this share is not worth a finding; it is kept out of the network's figures all the same. */
const LEAST_HOST_LOSS = 0.001;
const LEAST_HOST_PACKETS = 10;

const sum = (host: HostCase, count: (receipt: PlacedReceipt) => number): number =>
  host.receipts.reduce((total, receipt) => total + count(receipt), 0);
const hostLost = (host: HostCase): number => sum(host, ({ listener }) => listener.hostLostPackets ?? 0);
const sent = (host: HostCase): number => sum(host, (receipt) => receipt.sentPackets);
const isBlocked = ({ listener }: PlacedReceipt): boolean =>
  listener.receivedPackets === 0 && (listener.nicFrames ?? 0) > 0;

const HOST_RULES: readonly DiagnosisRule<HostCase>[] = [
  {
    kind: "host-side-block",
    when: (host) => host.receipts.every(isBlocked),
    title: ({ host, streams }) =>
      `${nameList(streams)} arrives at the network card of ${host}, but nothing reaches the program: the host blocks it`,
    evidence: (host) => [
      `${count(
        sum(host, ({ listener }) => listener.nicFrames ?? 0),
        "frame",
      )} at the network card, 0 packets at the socket, of ${sent(host)} sent.`,
    ],
    advice:
      "Look at the host's firewall rules for the group's UDP port, and at its reverse-path filter: with a strict one the source's subnet must be reachable through the same interface.",
    reference: "common practice; reverse-path filtering: RFC 3704, section 2.2",
  },
  {
    kind: "host-side-loss",
    when: (host) => hostLost(host) >= Math.max(LEAST_HOST_PACKETS, LEAST_HOST_LOSS * sent(host)),
    title: (host) =>
      `${host.host} itself dropped ${count(hostLost(host), "packet")} of ${nameList(host.streams)} that the network had delivered`,
    evidence: (host) => [
      `The host's own counters account for ${hostLost(host)} of ${sum(host, (r) => r.lostPackets)} missing packets (${percent(hostLost(host) / Math.max(1, sent(host)))} of all); they are taken out of the network's figures.`,
    ],
    advice:
      "Raise the receive buffer limit of this host and see what else keeps its processor busy. Until then its figures do not speak for the network.",
    reference: "common practice, no standard",
  },
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
  return [...cases.values()].flatMap(({ streams: names, receipts }) => {
    const host: HostCase = { host: receipts[0]?.listener.host ?? "", streams: names, receipts };
    const rule = diagnose(HOST_RULES, host);
    if (rule === null) return [];
    return {
      kind: rule.kind,
      streams: names,
      suspects: [host.host],
      confidence: 0.95,
      title: rule.title(host),
      evidence: rule.evidence?.(host) ?? [],
      advice: rule.advice,
      reference: rule.reference,
    };
  });
}
