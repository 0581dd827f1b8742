import {
  findingKindFacts,
  formatCount,
  formatRatio,
  movedCounters,
  type ReportFinding,
  type ReportReceipt,
  type RunReport,
} from "@dyetrace/wire";
import { DEVICE_COLUMNS, deviceNotes, deviceRows } from "./devices/device-rows.ts";
import { ms, table } from "./html-table.ts";
import { type Markup, markup } from "./markup.ts";

/** How packets came, beyond how many; not in reports of earlier versions. */
export function renderDetails({ receipts }: RunReport): Markup | null {
  const told = receipts.filter(({ delayVariation, received }) => delayVariation !== undefined && received !== null);
  if (told.length === 0) return null;
  return table(
    "How packets came",
    [
      "Stream",
      "Listener",
      "Delay varies by (half / 99 % / most)",
      "Jitter, most",
      "Out of order",
      "Copies",
      "Too late",
      "Loss periods",
      "Bursts of loss",
      "Delay factor",
      "Media loss",
      "Source",
    ],
    told.map((receipt) => [
      receipt.stream,
      receipt.listener,
      variationOf(receipt),
      ms(receipt.jitterMaxMs ?? null),
      orderOf(receipt),
      copiesOf(receipt),
      receipt.latePackets ?? null,
      periodsOf(receipt),
      burstsOf(receipt),
      ms(receipt.delayFactorMaxMs ?? null),
      receipt.mediaLossMaxPps == null ? null : `${receipt.mediaLossMaxPps}/s`,
      sourceOf(receipt),
    ]),
  );
}

function variationOf({ delayVariation }: ReportReceipt): string | null {
  if (delayVariation == null) return null;
  return [delayVariation.medianMs, delayVariation.p99Ms, delayVariation.maxMs].map(ms).join(" / ");
}

function orderOf({ reordered, reordering }: ReportReceipt): string | number | null {
  if (reordering == null) return reordered;
  const places = reordering.maxExtent === 1 ? "1 place" : `${reordering.maxExtent} places`;
  return `${reordered} (${formatRatio(reordering.ratio)}), by ${places} and ${ms(reordering.maxLateMs)} at most`;
}

function copiesOf({ duplicates, duplicatedPackets }: ReportReceipt): string | number | null {
  return duplicates === null || duplicates === 0 || duplicatedPackets == null
    ? duplicates
    : `${formatCount(duplicates)} of ${formatCount(duplicatedPackets)} packets`;
}

function periodsOf({ lossPattern }: ReportReceipt): string | number | null {
  if (lossPattern == null) return null;
  const { periods, longestPeriod, medianDistance, beforeFirst, afterLast } = lossPattern;
  if (periods === 0) return 0;
  const parts = [`${periods}, longest ${longestPeriod}`];
  if (medianDistance !== null) parts.push(`mostly ${medianDistance} apart`);
  if (beforeFirst !== null && beforeFirst > 0) parts.push(`${beforeFirst} before the first packet`);
  if (afterLast !== null && afterLast > 0) parts.push(`${afterLast} after the last`);
  return parts.join(", ");
}

function burstsOf({ lossPattern }: ReportReceipt): string | number | null {
  if (lossPattern == null) return null;
  const { bursts, meanBurstPackets, burstLossRatio } = lossPattern;
  if (bursts === null || bursts === 0 || meanBurstPackets === null || burstLossRatio === null) return bursts;
  return `${bursts}, mean ${Math.round(meanBurstPackets)} packets, ${formatRatio(burstLossRatio)} lost`;
}

function sourceOf({ otherSenderPackets, senderRestarts }: ReportReceipt): string | null {
  const parts: string[] = [];
  if (senderRestarts != null && senderRestarts > 0) parts.push(`began anew ${senderRestarts} times`);
  if (otherSenderPackets != null && otherSenderPackets > 0)
    parts.push(`${formatCount(otherSenderPackets)} packets of a second sender`);
  if (parts.length > 0) return parts.join(", ");
  return senderRestarts == null ? null : "one";
}

/** What hosts dropped or met with: those where something was counted. */
export function renderHosts({ hosts }: RunReport): Markup | null {
  if (hosts === undefined || hosts.length === 0) return null;
  const told = hosts.filter((host) => movedCounters(host).length > 0);
  const rest = hosts.length - told.length;
  if (told.length === 0) {
    const all = rest === 1 ? "On the one host" : `On all ${rest} hosts`;
    return markup`<section><h2>Hosts</h2><p>${all} no counter of drops or errors moved, as far as they are shown.</p></section>`;
  }
  const rows = told.map((host) => [
    host.agent,
    movedCounters(host)
      .map(([words, count]) => `${words}: ${count}`)
      .join("; "),
  ]);
  return markup`${table("Hosts", ["Agent", "Counted during the run, whoever's traffic it was"], rows)}${
    rest === 0 ? null : markup`<p>On ${rest} more no counter moved.</p>`
  }`;
}

/** What switches and routers counted and had in their tables, where any was read. */
export function renderDevices(report: RunReport): Markup | null {
  if ((report.devices ?? []).length === 0) return null;
  const notes = deviceNotes(report);
  return markup`${table("Counted by switches and routers, whoever's traffic it was", DEVICE_COLUMNS, deviceRows(report))}${
    notes.length === 0 ? null : markup`<section>${notes.map((note) => markup`<p>${note}</p>`)}</section>`
  }`;
}

export function renderFindings(findings: readonly ReportFinding[]): Markup {
  if (findings.length === 0) return markup`<section><h2>Findings</h2><p>None.</p></section>`;
  return markup`<section><h2>Findings</h2>${findings.map(
    ({ kind, title, suspects, confidence, streams, evidence, advice, reference }, index) => markup`
<article class="finding ${findingKindFacts(kind).effect}"><h3><span class="number">${index + 1}</span> <span class="kind" title="${findingKindFacts(kind).meaning}">${findingKindFacts(kind).label}</span> ${title}</h3><dl>
<dt>Suspects</dt><dd>${suspects.length === 0 ? "none can be named" : suspects.map((one) => markup`<code>${one}</code> `)}</dd>
<dt>Confidence</dt><dd>${Math.round(confidence * 100)} %</dd><dt>Streams</dt><dd>${streams.join(", ")}</dd>
<dt>Evidence</dt><dd>${evidence.map((sentence) => markup`<p>${sentence}</p>`)}</dd>
${advice === "" ? null : markup`<dt>Next</dt><dd>${advice}</dd>`}${reference === "" ? null : markup`<dt>Reference</dt><dd>${reference}</dd>`}
</dl></article>`,
  )}</section>`;
}
