import {
  type AirShare,
  type AirStream,
  byDesignReach,
  multicastAirShare,
  OFDM_RATES_BPS,
  type OfdmRateBps,
  type RadioBand,
  type SiteGraph,
  unicastAirShare,
} from "@dyetrace/site";
import { parseIpAddress, type Scenario } from "@dyetrace/wire";
import { type PlacedStream, placeStreams } from "./place-streams.ts";

/** How one stream loads the air of one access point. */
export interface StreamAirtime {
  readonly stream: string;
  /** UDP payload bits per second, and bytes of one packet's payload. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  /** Stations of this access point that ever join it. */
  readonly stations: readonly string[];
  /** Whether the stream comes to this access point by design; one that does not takes no air. */
  readonly isCarried: boolean;
  /** As multicast, at each basic rate. */
  readonly multicast: readonly { readonly basicRateBps: OfdmRateBps; readonly share: AirShare }[];
  /** As unicast to each of the stations that join, or to one station where none does, at each rate. */
  readonly unicast: readonly { readonly stationRateBps: OfdmRateBps; readonly share: AirShare }[];
}

export interface AccessPointAirtime {
  readonly accessPoint: string;
  readonly streams: readonly StreamAirtime[];
}

export interface AirtimeOptions {
  readonly band: RadioBand;
  readonly isProtected: boolean;
  readonly basicRatesBps: readonly OfdmRateBps[];
  readonly stationRatesBps: readonly OfdmRateBps[];
}

export const AIRTIME_DEFAULTS: AirtimeOptions = {
  band: "5 GHz",
  isProtected: true,
  basicRatesBps: [6e6, 12e6, 24e6],
  stationRatesBps: [24e6, 54e6],
};

/** What is asked about where no scenario is given: seven MPEG-TS packets a datagram, as IPTV commonly sends. */
const SAMPLE: AskedStream = { name: "1 Mbit/s", group: "239.195.10.4", rateBps: 1e6, payloadBytes: 1316 };

type AskedStream = Pick<PlacedStream, "name" | "group" | "rateBps" | "payloadBytes">;

export const isOfdmRate = (rateBps: number): rateBps is OfdmRateBps => OFDM_RATES_BPS.some((rate) => rate === rateBps);

/** The least share of each access point's air that each stream takes. Pure. */
export function planAirtime(
  graph: SiteGraph,
  scenario: Scenario | null,
  options: AirtimeOptions = AIRTIME_DEFAULTS,
): AccessPointAirtime[] {
  const streams = scenario === null ? null : placeStreams(graph, scenario);
  const accessPoints = [...graph.nodes.values()].filter(({ kind }) => kind === "access-point");
  return accessPoints.map(({ name: accessPoint }) => {
    if (streams === null) return { accessPoint, streams: [airtime(SAMPLE, [], true, options)] };
    const stations = stationsOf(graph, accessPoint);
    return {
      accessPoint,
      streams: streams.map((stream) => {
        const joined = stations.filter((station) => stream.listeners.includes(station));
        const reach = byDesignReach(graph, stream.source, stream.listeners);
        return airtime(stream, joined, reach.nodes.has(accessPoint), options);
      }),
    };
  });
}

/** Hosts linked to the access point itself: what hangs on its wired side is a switch or a router. */
const stationsOf = (graph: SiteGraph, accessPoint: string): string[] =>
  (graph.outgoing.get(accessPoint) ?? [])
    .map((segment) => segment.to.node)
    .filter((node) => graph.nodes.get(node)?.kind === "host");

function airtime(
  { name, group, rateBps, payloadBytes }: AskedStream,
  stations: readonly string[],
  isCarried: boolean,
  { band, isProtected, basicRatesBps, stationRatesBps }: AirtimeOptions,
): StreamAirtime {
  const air: AirStream = { rateBps, payloadBytes, family: parseIpAddress(group)?.family ?? 4, isProtected, band };
  return {
    stream: name,
    rateBps,
    payloadBytes,
    stations,
    isCarried,
    multicast: basicRatesBps.map((basicRateBps) => ({ basicRateBps, share: multicastAirShare(air, basicRateBps) })),
    unicast: stationRatesBps.map((stationRateBps) => ({
      stationRateBps,
      share: unicastAirShare(
        air,
        Array.from({ length: Math.max(1, stations.length) }, () => stationRateBps),
      ),
    })),
  };
}
