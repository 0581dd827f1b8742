import { formatCount, formatRateBps, formatRatio } from "../units.ts";
import type { ReportRoam, ReportWifi } from "./report-wifi-schema.ts";

const WAYS = {
  multicast: "as multicast, sent once for all",
  unicast: "as unicast, a copy of its own",
  both: "partly as multicast and partly as unicast",
} as const;

/** What a report says of the air, sentence by sentence: each station's way of delivery with the cost of both, then moves. */
export function wifiWords(wifi: ReportWifi | undefined, roams: readonly ReportRoam[] = []): string[] {
  return [
    ...(wifi?.accessPoints ?? []).map(
      ({ accessPoint, asMulticast, asUnicast, deliveredShareRatio }) =>
        `${accessPoint}: by formula at least ${formatRatio(asMulticast.shareRatio)} of its air as multicast at ${asMulticast.mode}, ${formatRatio(asUnicast.shareRatio)} as unicast at ${asUnicast.mode}; as it was delivered ${deliveredShareRatio === null ? "unknown" : formatRatio(deliveredShareRatio)}.`,
    ),
    ...(wifi?.deliveries ?? []).map(
      ({ stream, agent, accessPoint, delivered, asMulticast, asUnicast }) =>
        `${agent} at ${accessPoint} got ${stream} ${delivered === null ? "in a way that nobody saw" : WAYS[delivered]} (multicast ${formatRatio(asMulticast.shareRatio)} of the air, its copy as unicast ${formatRatio(asUnicast.shareRatio)}).`,
    ),
    ...(wifi?.stations ?? []).map(sayStation),
    ...roams.map(
      ({ agent, atMs, fromBssid, toBssid, from, to }) =>
        `${agent} roamed ${(atMs / 1000).toFixed(1)} s after the start from ${sayPlace(from, fromBssid)} to ${sayPlace(to, toBssid)}.`,
    ),
  ];
}

const sayPlace = (accessPoint: string | null, bssid: string): string =>
  accessPoint === null ? `${bssid}, which the plan has not` : `${accessPoint} (${bssid})`;

function sayStation(station: ReportWifi["stations"][number]): string {
  const { agent, bssid, accessPoint, frequencyMhz, widthMhz, signalDbm, leastSignalDbm } = station;
  if (bssid === null) return `${agent} was at no access point when it was last asked.`;
  const known = [
    ...(frequencyMhz === null ? [] : [`${frequencyMhz} MHz`]),
    ...(widthMhz === null ? [] : [`${widthMhz} MHz wide`]),
    ...(signalDbm === null ? [] : [`signal ${signalDbm} dBm`]),
    ...(leastSignalDbm === null || leastSignalDbm === signalDbm ? [] : [`at the weakest ${leastSignalDbm} dBm`]),
    ...(station.txRateBps === null ? [] : [`sends at ${formatRateBps(station.txRateBps)}`]),
    ...(station.rxRateBps === null ? [] : [`receives at ${formatRateBps(station.rxRateBps)}`]),
    ...(station.txRetries === null ? [] : [`${formatCount(station.txRetries)} frames sent again`]),
    ...(station.txFailed === null ? [] : [`${station.txFailed} given up`]),
  ];
  return `${agent} was at ${sayPlace(accessPoint, bssid)}${known.length === 0 ? "" : `: ${known.join(", ")}`}.`;
}
