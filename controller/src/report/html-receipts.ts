import { proportionBounds } from "@dyetrace/measure";
import {
  formatCount,
  formatRateBps,
  formatRatio,
  knownRateBps,
  partialWords,
  type ReportReceipt,
  type ReportStream,
  type RunReport,
} from "@dyetrace/wire";
import { ms, table } from "./html-table.ts";
import { type Markup, markup } from "./markup.ts";

export function renderStreams({ streams }: RunReport): Markup {
  return table(
    "Streams",
    [
      "Stream",
      "Source",
      "Group",
      "Port",
      "Rate",
      "Payload",
      "TTL",
      "DSCP",
      "Sent",
      "Really sent",
      "Late to leave (half / 99 % / most)",
    ],
    streams.map((stream) => [
      stream.name,
      stream.source,
      stream.group,
      String(stream.port), // a name, not a count
      rateOf(stream),
      knownRateBps(stream) === null ? null : `${stream.payloadBytes} B`,
      stream.ttl,
      stream.dscp,
      stream.sent,
      stream.sentRateBps === null ? null : formatRateBps(stream.sentRateBps),
      lateOf(stream),
    ]),
  );
}

function rateOf(stream: ReportStream): string | null {
  const rateBps = knownRateBps(stream);
  return rateBps === null ? null : formatRateBps(rateBps);
}

function lateOf({ pacingP50Ms, pacingP99Ms, pacingMaxMs }: ReportStream): string | null {
  const known = [pacingP50Ms, pacingP99Ms, pacingMaxMs].filter((late) => late != null);
  return known.length === 0 ? null : known.map(ms).join(" / ");
}

export function renderReceipts(report: RunReport): Markup {
  const lengthMs = Date.parse(report.endedAt) - Date.parse(report.startedAt);
  return table(
    "Receipts",
    [
      "Stream",
      "Listener",
      "Sent",
      "Received",
      "Lost",
      "Loss",
      "In host",
      "Longest gap",
      "Jitter",
      "Join",
      "Leave",
      "Gaps",
    ],
    report.receipts.map((receipt) => [
      receipt.stream,
      receipt.listener,
      receipt.sent,
      withPartial(receipt),
      receipt.lost,
      lossOf(receipt),
      receipt.hostLost,
      ms(receipt.longestGapMs),
      ms(receipt.jitterMs),
      ms(receipt.joinDelayMs),
      ms(receipt.leaveDelayMs),
      gapStrip(receipt, lengthMs),
    ]),
  );
}

function withPartial(receipt: ReportReceipt): string | number | null {
  const partial = partialWords(receipt);
  return partial === null
    ? receipt.received
    : `${receipt.received === null ? "unknown" : formatCount(receipt.received)} (${partial})`;
}

/** Nothing lost says no more than how much may be lost, at 95 %. */
function lossOf({ lossRatio, lost, sent }: ReportReceipt): string | null {
  if (lossRatio === null) return null;
  if (lost === 0 && sent !== null && sent > 0) {
    return `0 % (≤ ${formatRatio(proportionBounds({ hits: 0, trials: sent }).high)})`;
  }
  return formatRatio(lossRatio);
}

function gapStrip({ gaps, received, unknown }: ReportReceipt, lengthMs: number): Markup | null {
  if (received === null || lengthMs <= 0) return null;
  if (received === 0 && unknown === undefined)
    return markup`<svg class="strip" viewBox="0 0 220 16"><title>dry: nothing came</title><rect class="loss" x="0" y="5" width="220" height="6"/></svg>`;
  return markup`<svg class="strip" viewBox="0 0 220 16" preserveAspectRatio="none"><title>${gaps.length === 1 ? "1 gap" : `${formatCount(gaps.length)} gaps`}</title>${gaps.map(
    ({ startMs, durationMs, count }) =>
      startMs === null
        ? null
        : markup`<rect class="loss" x="${px((startMs / lengthMs) * 220)}" y="0" width="${px(Math.max(1, ((durationMs ?? 0) / lengthMs) * 220))}" height="16"><title>${formatCount(count)} packets</title></rect>`,
  )}</svg>`;
}

const px = (value: number): string => value.toFixed(1);

export function renderBystanders({ bystanders }: RunReport): Markup | null {
  if (bystanders.length === 0) return null;
  return table(
    "Bystanders",
    ["Stream", "Agent", "Frames", "First", "Last"],
    bystanders.map(({ stream, agent, frames, firstMs, lastMs }) => [
      stream,
      agent,
      frames ?? "can't watch",
      ms(firstMs),
      ms(lastMs),
    ]),
  );
}
