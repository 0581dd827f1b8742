import { type AirShare, addShares } from "@dyetrace/site";
import type { RadioBand } from "@dyetrace/wire/air/ppdu-time";
import type { AccessPointAirtime } from "./plan-airtime.ts";

/** Access points of one band and channel share its air: what all of them take together, by the first alternative. */
export interface ChannelAirtime {
  readonly band: RadioBand;
  readonly channel: number;
  readonly accessPoints: readonly string[];
  readonly multicast: AirShare;
  readonly unicast: AirShare;
}

export function channelAirtimes(accessPoints: readonly AccessPointAirtime[]): ChannelAirtime[] {
  const channels = new Map<string, AccessPointAirtime[]>();
  for (const one of accessPoints) {
    if (one.channel === null) continue;
    const key = `${one.band} ${one.channel}`;
    channels.set(key, [...(channels.get(key) ?? []), one]);
  }
  return [...channels.values()].flatMap((sharing) => {
    const [first] = sharing;
    if (first?.channel == null || sharing.length < 2) return [];
    return [
      {
        band: first.band,
        channel: first.channel,
        accessPoints: sharing.map(({ accessPoint }) => accessPoint),
        multicast: addShares(sharing.flatMap(({ multicast }) => multicast[0]?.share ?? [])),
        unicast: addShares(sharing.flatMap(({ unicast }) => unicast[0]?.share ?? [])),
      },
    ];
  });
}
