import { formatRateBps, formatRatio } from "@dyetrace/wire";
import type { AccessPointAirtime, AirtimeOptions, StreamAirtime } from "../plan/plan-airtime.ts";
import type { Paint } from "./terminal-paint.ts";

/** Above this share one stream leaves little air for anybody else (common practice, no source). */
const HEAVY_RATIO = 0.3;

/** What `plan airtime` says to people. */
export function renderAirtime(
  site: string,
  accessPoints: readonly AccessPointAirtime[],
  { band, isProtected }: AirtimeOptions,
  paint: Paint,
): string {
  const lines = [
    "",
    `${paint(site, "strong")} · least share of the air, ${band}, ${isProtected ? "encrypted" : "open"}`,
  ];
  if (accessPoints.length === 0) lines.push("  This plan has no access point.");
  for (const { accessPoint, streams } of accessPoints) {
    lines.push("", paint(accessPoint, "strong"), ...streams.flatMap((stream) => streamLines(stream, paint)));
  }
  lines.push(
    "",
    "Counted: preamble, symbols, DIFS, the mean backoff, and for unicast SIFS and acknowledgement (IEEE 802.11 OFDM).",
    "Not counted: beacons, retries, other stations. Conversion to unicast sends a copy to each station that has joined.",
  );
  return `${lines.join("\n")}\n\n`;
}

function streamLines(
  { stream, rateBps, payloadBytes, stations, isCarried, multicast, unicast }: StreamAirtime,
  paint: Paint,
): string[] {
  const head = `  ${stream}  ${formatRateBps(rateBps)} in packets of ${payloadBytes} B`;
  if (!isCarried) return [`${head}: ${paint("does not come here by design", "quiet")}`];
  const say = (ratio: number): string => {
    const text = ratio > 1 ? `${formatRatio(ratio)}, cannot fit` : formatRatio(ratio);
    return paint(text, ratio > HEAVY_RATIO ? "bad" : "good");
  };
  const copies = stations.length > 1 ? ` to each of ${stations.join(", ")}` : "";
  return [
    head,
    ...multicast.map(
      ({ basicRateBps, share }) => `    as multicast at ${formatRateBps(basicRateBps)}: ${say(share.withBackoffRatio)}`,
    ),
    ...unicast.map(
      ({ stationRateBps, share }) =>
        `    as unicast${copies} at ${formatRateBps(stationRateBps)}: ${say(share.withBackoffRatio)}`,
    ),
  ];
}
