import { formatMs } from "@dyetrace/picture";
import {
  formatCount,
  formatRatio,
  movedCounters,
  partialWords,
  type ReportReceipt,
  type RunReport,
} from "@dyetrace/wire";

/** Of a partial receipt, what is known of. */
function sayLoss(receipt: ReportReceipt): string {
  const partial = partialWords(receipt);
  const ratio = receipt.lossRatio === null ? "unknown" : formatRatio(receipt.lossRatio);
  return partial === null ? ratio : `${ratio} (${partial})`;
}

/** `12 of 8 packets`: copies that came, beside the packets that they are of. */
export const sayCopies = ({ duplicates, duplicatedPackets }: ReportReceipt): string =>
  duplicates === null
    ? "unknown"
    : duplicates === 0 || duplicatedPackets == null
      ? formatCount(duplicates)
      : `${formatCount(duplicates)} of ${formatCount(duplicatedPackets)} packets`;

/** A gap has an end: where nothing came at all there is none to be measured. */
export function sayLongestGap({ received, longestGapMs }: ReportReceipt): string {
  if (received === 0) return "nothing came";
  if (longestGapMs === null) return "unknown";
  return longestGapMs === 0 ? "none" : formatMs(longestGapMs);
}

/** Delay beyond the fastest of the same 10 s (RFC 5481). */
export const sayVariation = ({ delayVariation }: ReportReceipt): string =>
  delayVariation == null
    ? "unknown"
    : `${formatMs(delayVariation.p99Ms)} for 99 %, ${formatMs(delayVariation.maxMs)} at most`;

/** RFC 4737: how many, and how far. */
export function sayOrder({ reordered, reordering }: ReportReceipt): string {
  if (reordered === null) return "unknown";
  if (reordering == null) return formatCount(reordered);
  return `${formatCount(reordered)}, by up to ${reordering.maxExtent} and ${formatMs(reordering.maxLateMs)}`;
}

/** RFC 3357 and RFC 3611: how losses lie. */
export function sayPattern({ lossPattern, lost }: ReportReceipt): string {
  if (lossPattern == null) return lost === 0 ? "none" : "unknown";
  const { periods, longestPeriod, medianDistance, bursts } = lossPattern;
  if (periods === 0) return "none";
  const apart = medianDistance === null ? "" : `, mostly ${formatCount(medianDistance)} apart`;
  const clustered =
    bursts === null || bursts === 0 ? "" : `; ${formatCount(bursts)} ${bursts === 1 ? "burst" : "bursts"}`;
  return `${formatCount(periods)}, longest ${formatCount(longestPeriod)}${apart}${clustered}`;
}

/** RFC 4445, the worst second. */
export function sayMedia({ delayFactorMaxMs, mediaLossMaxPps }: ReportReceipt): string {
  if (mediaLossMaxPps == null && delayFactorMaxMs == null) return "unknown";
  const buffer = delayFactorMaxMs == null ? "unknown" : formatMs(delayFactorMaxMs);
  const lost = mediaLossMaxPps == null ? "losses unknown" : `${formatCount(mediaLossMaxPps)} packets lost`;
  return `${lost}; buffer ${buffer}`;
}

/** Listeners that one run shows here; the report has them all. */
const MOST_ROWS = 16;

/** How packets came to each listener; nothing of a run that an earlier version reported. */
export function Deliveries({ report }: { readonly report: RunReport }) {
  const told = report.receipts.filter(
    ({ delayVariation, received }) => delayVariation !== undefined && received !== null,
  );
  if (told.length === 0) return null;
  const worstFirst = told.toSorted((a, b) => (b.lossRatio ?? 0) - (a.lossRatio ?? 0));
  return (
    <section class="promises deliveries">
      <h2>How packets came</h2>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the page is scrolled with the keyboard too */}
      <section class="scroll" aria-label="How packets came" tabIndex={0}>
        <table>
          <thead>
            <tr>
              <th scope="col">stream</th>
              <th scope="col">listener</th>
              <th scope="col">lost</th>
              <th scope="col">delay varies by</th>
              <th scope="col">out of order</th>
              <th scope="col">copies</th>
              <th scope="col">loss periods</th>
              <th scope="col">worst second</th>
            </tr>
          </thead>
          <tbody>
            {worstFirst.slice(0, MOST_ROWS).map((receipt) => (
              <tr key={`${receipt.stream} ${receipt.listener}`}>
                <th scope="row" class="water">
                  {receipt.stream}
                </th>
                <td>{receipt.listener}</td>
                <td>{sayLoss(receipt)}</td>
                <td>{sayVariation(receipt)}</td>
                <td>{sayOrder(receipt)}</td>
                <td>{sayCopies(receipt)}</td>
                <td>{sayPattern(receipt)}</td>
                <td>{sayMedia(receipt)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </section>
      <p class="small soft">
        Delay beyond the fastest packet of the same 10 s. Out of order: how many, by how many places and how late. Worst
        second: packets lost or out of order in one second, and the buffer that evens out the arrivals.
        {told.length > MOST_ROWS && ` ${told.length - MOST_ROWS} more listeners are in the report.`}
      </p>
    </section>
  );
}

/** Hosts that dropped packets themselves or met with errors. */
export function HostCounts({ report }: { readonly report: RunReport }) {
  const told = (report.hosts ?? []).flatMap((host) => {
    const moved = movedCounters(host);
    return moved.length === 0 ? [] : [{ agent: host.agent, moved }];
  });
  if (told.length === 0) return null;
  return (
    <section class="promises">
      <h2>What hosts counted</h2>
      <table>
        <tbody>
          {told.map(({ agent, moved }) => (
            <tr key={agent}>
              <th scope="row">{agent}</th>
              <td>{moved.map(([words, count]) => `${words}: ${formatCount(count)}`).join("; ")}</td>
            </tr>
          ))}
        </tbody>
      </table>
      <p class="small soft">Counted by each host during the run, whoever's traffic it was.</p>
    </section>
  );
}
