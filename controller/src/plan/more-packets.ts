import { formatCount, formatDurationNs } from "@dyetrace/wire";

export interface MorePackets {
  /** How much longer the stream would have to be sent; null where its rate is not known. */
  readonly seconds: number | null;
  /** Without a full stop. */
  readonly sentence: string;
}

/** What would decide a limit that so few packets do not. */
export function sayMorePackets(neededPackets: number, packets: number, perSecond: number | null): MorePackets {
  const more = Math.max(0, neededPackets - packets);
  const seconds = perSecond === null ? null : Math.ceil(more / perSecond);
  const longer =
    seconds === null || perSecond === null
      ? `${formatCount(more)} more`
      : `${formatDurationNs(seconds * 1e9)} more at ${Number(perSecond.toPrecision(3))} packets/s`;
  return { seconds, sentence: `${formatCount(neededPackets)} packets decide it, ${longer}` };
}
