import type { ListenerInterval } from "@dyetrace/wire";

/**
 * Of a stream of others an agent by itself knows what its numbers or its counters say; without either it knows no loss.
 * @returns null where one of the stays is such; our own streams' as they are
 */
export function toldOfOthers(stays: readonly ListenerInterval[]): readonly ListenerInterval[] | null {
  const told = stays.map((one): ListenerInterval | null => {
    const { followed, receipt } = one;
    if (followed === undefined || receipt === null || receipt.received === 0) return one;
    const { rtp, digest } = followed;
    const lost = rtp.reduce((sum, flow) => sum + flow.receipt.lost, 0);
    if (rtp.some(({ packets }) => packets > digest.packets)) return { ...one, receipt: { ...receipt, lost } };
    if (digest.ts === null || digest.ts.datagrams === 0) return null;
    const packetsPerDatagram = Math.max(1, digest.ts.packets / digest.ts.datagrams);
    return { ...one, receipt: { ...receipt, lost: Math.ceil(digest.ts.missingAtLeast / packetsPerDatagram) } };
  });
  return told.includes(null) ? null : (told as readonly ListenerInterval[]);
}
