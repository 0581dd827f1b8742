import type { ListenerInterval } from "@dyetrace/wire";

/**
 * Of a stream of others an agent by itself knows what its numbers say, or the losses that its counters show; without
 * either it knows no loss.
 * What its receipt counts by the order of arrival, as losses and jitter, is never told.
 * @returns null where one of the stays is such; our own streams' as they are
 */
export function toldOfOthers(stays: readonly ListenerInterval[]): readonly ListenerInterval[] | null {
  const told = stays.map((one): ListenerInterval | null => {
    const { followed, receipt } = one;
    if (followed === undefined || receipt === null || receipt.received === 0) return one;
    const { rtp, digest } = followed;
    if (isNumbered(followed)) {
      const [main] = rtp.toSorted((a, b) => b.packets - a.packets);
      const own = rtp.map((flow) => flow.receipt);
      const { jitterNs = null, longestGap = null } = main?.receipt ?? {};
      const lost = own.reduce((sum, flow) => sum + flow.lost, 0);
      return { ...one, receipt: { ...receipt, lost, hostLost: addKnown(own), jitterNs, longestGap } };
    }
    if (digest.ts === null || digest.ts.datagrams === 0) return null;
    const packetsPerDatagram = Math.max(1, digest.ts.packets / digest.ts.datagrams);
    // Counters of 4 bits miss each 16 packets of one kind that are lost in a row: none missing does not say that all came.
    if (digest.ts.missingAtLeast === 0) return null;
    const lost = Math.ceil(digest.ts.missingAtLeast / packetsPerDatagram);
    return { ...one, receipt: { ...receipt, lost, hostLost: null, jitterNs: null, longestGap: null } };
  });
  return told.includes(null) ? null : (told as readonly ListenerInterval[]);
}

const isNumbered = ({ rtp, digest }: NonNullable<ListenerInterval["followed"]>): boolean =>
  rtp.some(({ packets }) => packets > digest.packets);

/** Losses that counters show, and not numbers: so many at least. */
export const isLostAtLeast = (stays: readonly ListenerInterval[]): boolean =>
  stays.some(({ followed }) => followed !== undefined && !isNumbered(followed));

/** A member without our doing: what came to it was followed at the network card. */
export const isOfHost = (stays: readonly ListenerInterval[]): boolean =>
  stays.some(({ watched }) => watched?.isMember === true);

/** Null where one is not known. */
const addKnown = (receipts: readonly { readonly hostLost: number | null }[]): number | null =>
  receipts.reduce<number | null>((sum, { hostLost }) => (sum === null || hostLost === null ? null : sum + hostLost), 0);

/** Nothing came of a stream of others in this time: whether anything was lost shows when something comes, or never. */
export const isSilentOfOthers = (stays: readonly ListenerInterval[]): boolean =>
  stays.some(({ followed, receipt }) => followed !== undefined && receipt?.received === 0);

/** Stays of hosts that had joined, whoever did it. */
export const askedFor = (listeners: readonly ListenerInterval[]): readonly ListenerInterval[] =>
  listeners.filter(({ watched }) => watched?.isMember !== false);

/** Packets of one stream that came to a host where nobody had joined it. */
export const cameUnasked = (listeners: readonly ListenerInterval[], streamId: number): number =>
  listeners.reduce(
    (sum, one) =>
      one.streamId === streamId && one.watched?.isMember === false ? sum + (one.receipt?.received ?? 0) : sum,
    0,
  );
