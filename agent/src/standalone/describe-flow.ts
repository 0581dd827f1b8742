import { formatCount, formatDurationNs, formatRateBps, formatRatio } from "@dyetrace/wire";
import type { FlowReport } from "./follow/flow-report.ts";

const KINDS: Readonly<Record<FlowReport["kind"], string>> = {
  test: "test stream",
  rtp: "RTP",
  "rtp-with-ts": "RTP with MPEG-TS",
  ts: "MPEG-TS",
  other: "unnumbered traffic",
};

/** `RTP SSRC 7 payload type 33 from 192.0.2.1` */
export const nameFlow = (flow: FlowReport): string =>
  [KINDS[flow.kind], flow.name, flow.source === null ? "" : `from ${flow.source}`]
    .filter((part) => part !== "")
    .join(" ");

/**
 * The flow's figures in one line.
 * @param spanNs the time that they are of
 * @param isWhole true for the whole of a reception: only then is the share of loss exact, because a number counts as lost
 * only when it can no longer be late
 */
export function describeFlow(flow: FlowReport, spanNs: number, isWhole: boolean): string {
  const seconds = Math.max(spanNs, 1) / 1e9;
  const parts = [
    formatRateBps((flow.bytes * 8) / seconds),
    `${(flow.packets / seconds).toFixed(0)} packets/s`,
    describeLoss(flow, isWhole),
    flow.jitterNs === null ? null : `jitter ${formatDurationNs(flow.jitterNs)}`,
    flow.longestSilenceNs === null ? null : `longest silence ${formatDurationNs(flow.longestSilenceNs)}`,
    flow.duplicates === null || flow.duplicates === 0 ? null : `${flow.duplicates} duplicates`,
    flow.reordered === null || flow.reordered === 0 ? null : `${flow.reordered} reordered`,
    describeTtl(flow),
    flow.dscps.length === 0 ? null : `DSCP ${flow.dscps.join(", ")}`,
    flow.otherSenderPackets === null || flow.otherSenderPackets === 0
      ? null
      : `${formatCount(flow.otherSenderPackets)} packets of a second sender`,
    flow.senderRestarts === null || flow.senderRestarts === 0 ? null : `source restarted ${flow.senderRestarts} times`,
  ];
  return parts.filter((part) => part !== null).join("  ");
}

/** Loss of the network; what this host dropped itself is told apart. */
function describeLoss(flow: FlowReport, isWhole: boolean): string {
  const { lost, hostLost, packets } = flow;
  if (lost === null) return "loss unknown";
  const inNetwork = lost - (hostLost ?? 0);
  const host = hostLost === null ? "" : `  lost by this host ${hostLost}`;
  if (!flow.isLostExact) return `at least ${formatCount(lost)} lost${host}`;
  const ratio = !isWhole || lost + packets === 0 ? "" : ` (${formatRatio(inNetwork / (lost + packets))})`;
  return `lost ${inNetwork}${ratio}${host}`;
}

function describeTtl({ ttlMin, ttlMax }: FlowReport): string | null {
  if (ttlMin === null || ttlMax === null) return null;
  return ttlMin === ttlMax ? `TTL ${ttlMin}` : `TTL ${ttlMin} to ${ttlMax}`;
}
