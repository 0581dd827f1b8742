import type { PlacedReceipt } from "./clean-receipt.ts";
import type { Finding } from "./conclusion.ts";
import { type DiagnosisRule, diagnose } from "./diagnosis-rule.ts";
import type { StreamFacts } from "./stream-facts.ts";
import { count, percent } from "./wording.ts";

/** One listener of one stream, for what its own host does to it. */
interface HostCase {
  readonly stream: string;
  readonly receipt: PlacedReceipt;
}

/** Host loss below this share is not worth a finding; it is kept out of the network's figures all the same. */
const LEAST_HOST_LOSS = 0.001;
const LEAST_HOST_PACKETS = 10;

const hostLost = ({ receipt }: HostCase): number => receipt.listener.hostLostPackets ?? 0;

const HOST_RULES: readonly DiagnosisRule<HostCase>[] = [
  {
    kind: "host-side-block",
    when: ({ receipt }) => receipt.listener.receivedPackets === 0 && (receipt.listener.nicFrames ?? 0) > 0,
    title: ({ stream, receipt }) =>
      `${stream} arrives at the network card of ${receipt.listener.host}, but nothing reaches the program: the host blocks it`,
    evidence: ({ receipt }) => [
      `${count(receipt.listener.nicFrames ?? 0, "frame")} at the network card, 0 packets at the socket, of ${receipt.sentPackets} sent.`,
    ],
    advice:
      "Look at the host's firewall rules for the group's UDP port, and at its reverse-path filter: with a strict one the source's subnet must be reachable through the same interface.",
    reference: "common practice; reverse-path filtering: RFC 3704, section 2.2",
  },
  {
    kind: "host-side-loss",
    when: (host) => hostLost(host) >= Math.max(LEAST_HOST_PACKETS, LEAST_HOST_LOSS * host.receipt.sentPackets),
    title: (host) =>
      `${host.receipt.listener.host} itself dropped ${count(hostLost(host), "packet")} of ${host.stream} that the network had delivered`,
    evidence: (host) => [
      `The host's own counters account for ${hostLost(host)} of ${host.receipt.lostPackets} missing packets (${percent(hostLost(host) / Math.max(1, host.receipt.sentPackets))} of all); they are taken out of the network's figures.`,
    ],
    advice:
      "Raise the receive buffer limit of this host and see what else keeps its processor busy. Until then its figures do not speak for the network.",
    reference: "common practice, no standard",
  },
];

/** What is wrong with listening hosts themselves. One finding for each host and stream. */
export function findHostFaults(streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap(({ stream, receipts }) =>
    receipts.flatMap((receipt) => {
      const host: HostCase = { stream: stream.stream, receipt };
      const rule = diagnose(HOST_RULES, host);
      if (rule === null) return [];
      return {
        kind: rule.kind,
        streams: [stream.stream],
        suspects: [receipt.listener.host],
        confidence: 0.95,
        title: rule.title(host),
        evidence: rule.evidence?.(host) ?? [],
        advice: rule.advice,
        reference: rule.reference,
      };
    }),
  );
}
