import { formatDurationNs } from "@dyetrace/wire";

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
      ? `${countWord(more)} more`
      : `${formatDurationNs(seconds * 1e9)} more at ${Number(perSecond.toPrecision(3))} packets/s`;
  return { seconds, sentence: `${countWord(neededPackets)} packets decide it, ${longer}` };
}

/** "29,956": counts that are compared by eye. */
export const countWord = (count: number): string => count.toLocaleString("en-US");
