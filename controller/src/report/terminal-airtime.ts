import { formatRateBps, formatRatio } from "@dyetrace/wire";
import type { ChannelAirtime } from "../plan/channel-airtime.ts";
import type { AccessPointAirtime, ModeShare, StreamAirtime } from "../plan/plan-airtime.ts";
import type { Paint } from "./terminal-paint.ts";

/** Above this share one stream leaves little air for anybody else (common practice, no source). */
const HEAVY_RATIO = 0.3;

const SENDS_NOTHING = "The scenario sends nothing. What streams of others take is known once they were followed.";

/** What `plan airtime` says to people. */
export function renderAirtime(
  site: string,
  accessPoints: readonly AccessPointAirtime[],
  channels: readonly ChannelAirtime[],
  paint: Paint,
): string {
  const say = (ratio: number): string => {
    const text = ratio > 1 ? `${formatRatio(ratio)}, cannot fit` : formatRatio(ratio);
    return paint(text, ratio > HEAVY_RATIO ? "bad" : "good");
  };
  const lines = ["", `${paint(site, "strong")} · least share of the air that streams take`];
  if (accessPoints.length === 0) lines.push("  This plan has no access point.");
  for (const one of accessPoints) {
    lines.push("", `${paint(one.accessPoint, "strong")}  ${placeOf(one)}`);
    if (one.streams.length === 0) lines.push(`  ${SENDS_NOTHING}`);
    lines.push(...one.streams.flatMap((stream) => streamLines(stream, say, paint)));
    if (one.streams.filter(({ isCarried }) => isCarried).length > 1) {
      lines.push(
        "  together",
        ...modeLines(one.multicast, "multicast", say),
        ...modeLines(one.unicast, "unicast", say),
      );
    }
  }
  for (const { band, channel, accessPoints: sharing, multicast, unicast } of channels) {
    lines.push(
      "",
      `${paint(`channel ${channel}, ${band}`, "strong")}: ${sharing.join(" and ")} as far as they hear each other`,
      `    ${say(multicast.withBackoffRatio)} as multicast, ${say(unicast.withBackoffRatio)} as unicast`,
    );
  }
  lines.push(
    "",
    "Counted: preamble, symbols, DIFS, the mean backoff, and for unicast SIFS and (block) acknowledgement, by the formulas of",
    "IEEE 802.11-2020, clauses 16, 17, 19 and 21, and IEEE 802.11ax-2021, clause 27.",
    "Not counted: beacons, retries, other stations. Conversion to unicast sends a copy to each station that has joined.",
  );
  return `${lines.join("\n")}\n\n`;
}

function placeOf({ band, channel, isProtected, isConverting }: AccessPointAirtime): string {
  const parts = [
    band,
    ...(channel === null ? [] : [`channel ${channel}`]),
    isProtected ? "encrypted" : "open",
    ...(isConverting === null ? [] : [`planned as ${isConverting ? "unicast" : "multicast"}`]),
  ];
  return parts.join(", ");
}

function streamLines(
  { stream, rateBps, payloadBytes, stations, isCarried, multicast, unicast }: StreamAirtime,
  say: (ratio: number) => string,
  paint: Paint,
): string[] {
  const head = `  ${stream}  ${formatRateBps(rateBps)} in packets of ${payloadBytes} B`;
  if (!isCarried) return [`${head}: ${paint("does not come here by design", "quiet")}`];
  const copies = stations.length > 1 ? ` to each of ${stations.join(", ")}` : "";
  return [head, ...modeLines(multicast, "multicast", say), ...modeLines(unicast, `unicast${copies}`, say)];
}

const modeLines = (modes: readonly ModeShare[], what: string, say: (ratio: number) => string): string[] =>
  modes.map(({ mode, share }) => `    as ${what} at ${mode}: ${say(share.withBackoffRatio)}`);
