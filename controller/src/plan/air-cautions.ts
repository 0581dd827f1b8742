import type { SiteGraph } from "@dyetrace/site";
import { formatDurationNs, formatRatio, type Scenario } from "@dyetrace/wire";
import { channelAirtimes } from "./channel-airtime.ts";
import { type AccessPointAirtime, type ModeShare, planAirtime } from "./plan-airtime.ts";

export interface AirCaution {
  readonly level: "note" | "warn";
  readonly sentence: string;
  readonly reference: string;
}

/** Above this share little air is left for anybody else (common practice, no source). */
const MUCH_AIR = 0.3;
const FORMULAS = "IEEE 802.11-2020, clauses 16, 17, 19, 21; IEEE 802.11ax-2021, clause 27";
const DELIVERY = "RFC 9119, section 3.1.4; IEEE 802.11-2020, clause 11.2.3";
/** 100 time units of 1024 us: what nearly every access point has (common practice, no source). */
const BEACON_NS = 102.4e6;

/** What the scenario's streams cost on the air of each access point that carries them, and of each channel. Pure. */
export function airCautions(graph: SiteGraph, scenario: Scenario): AirCaution[] {
  const accessPoints = planAirtime(graph, scenario).filter(({ multicast }) => multicast.length > 0);
  return [
    ...accessPoints.flatMap((one) => [costOf(one), ...deliveryOf(one)]),
    ...channelAirtimes(accessPoints).map(({ band, channel, accessPoints: sharing, multicast, unicast }) => ({
      level: levelOf(Math.min(multicast.withBackoffRatio, unicast.withBackoffRatio)),
      sentence: `${sharing.join(" and ")} share channel ${channel} (${band}): together at least ${say(multicast.withBackoffRatio)} of its time as multicast, ${say(unicast.withBackoffRatio)} as unicast, as far as they hear each other`,
      reference: FORMULAS,
    })),
  ];
}

/** By the first alternative of each: the lowest rate that is looked at, or the plan's. */
function costOf({ accessPoint, streams, isConverting, multicast, unicast }: AccessPointAirtime): AirCaution {
  const carried = streams.filter(({ isCarried }) => isCarried);
  const what = carried.length === 1 ? (carried[0]?.stream ?? "") : `${carried.length} streams`;
  const copies = carried.reduce((sum, { stations }) => sum + stations.length, 0);
  const grouped = `at least ${shareOf(multicast)} of its air time as multicast at ${multicast[0]?.mode}`;
  const converted = `${shareOf(unicast)} as unicast (${copies === 1 ? "1 copy" : `${copies} copies`}, ${unicast[0]?.mode})`;
  const planned = isConverting === null ? "" : `; the plan has it send ${isConverting ? "unicast" : "multicast"}`;
  const ratio = (isConverting === true ? unicast : multicast)[0]?.share.withBackoffRatio ?? 0;
  return {
    level: levelOf(ratio),
    sentence: `${accessPoint} has to send ${what} over the air: ${grouped}${copies === 0 ? "" : `, ${converted}`}${planned}`,
    reference: FORMULAS,
  };
}

function deliveryOf({ accessPoint, dtim, isConverting, streams }: AccessPointAirtime): AirCaution[] {
  if (dtim === null || isConverting === true) return [];
  const everyNs = dtim * BEACON_NS;
  const packets = streams.reduce(
    (sum, { isCarried, rateBps, payloadBytes }) =>
      sum + (isCarried ? (rateBps / (8 * payloadBytes)) * (everyNs / 1e9) : 0),
    0,
  );
  const beacons = dtim === 1 ? "every beacon" : `one beacon in ${dtim}`;
  return [
    {
      level: "note",
      sentence: `While one station of ${accessPoint} sleeps, group frames wait there for ${beacons}: they come in clumps every ${formatDurationNs(everyNs)}, about ${Math.ceil(packets)} packets at once`,
      reference: DELIVERY,
    },
  ];
}

const levelOf = (ratio: number): AirCaution["level"] => (ratio > MUCH_AIR ? "warn" : "note");

const shareOf = (modes: readonly ModeShare[]): string => say(modes[0]?.share.withBackoffRatio ?? 0);

const say = (ratio: number): string => (ratio > 1 ? `${formatRatio(ratio)} (it cannot fit)` : formatRatio(ratio));
