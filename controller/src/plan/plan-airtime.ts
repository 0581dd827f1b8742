import {
  type AirShare,
  type AirStation,
  type AirStream,
  addShares,
  byDesignReach,
  multicastAirShare,
  type SiteGraph,
  type SiteRadio,
  unicastAirShare,
} from "@dyetrace/site";
import { parseIpAddress, type Scenario } from "@dyetrace/wire";
import { describePhyMode, type PhyMode } from "@dyetrace/wire/air/phy-mode";
import type { RadioBand } from "@dyetrace/wire/air/ppdu-time";
import { peakStreams } from "./confirm-load.ts";
import type { PlacedStream } from "./place-streams.ts";

/** A share of the air, and the mode it was counted for, in words. */
export interface ModeShare {
  readonly mode: string;
  readonly share: AirShare;
}

/** How one stream loads the air of one access point. */
export interface StreamAirtime {
  readonly stream: string;
  /** UDP payload bits per second, and bytes of one packet's payload; where a scenario changes them, the heaviest. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  /** Stations of this access point that ever join it. */
  readonly stations: readonly string[];
  /** Whether the stream comes to this access point by design; one that does not takes no air. */
  readonly isCarried: boolean;
  /** Sent once to the group, in each mode that is looked at. */
  readonly multicast: readonly ModeShare[];
  /** A copy to each station that joins, or to one station where none does. */
  readonly unicast: readonly ModeShare[];
  /** The copy of each of the stations, in their order, by the first of these alternatives. */
  readonly copies: readonly ModeShare[];
}

export interface AccessPointAirtime {
  readonly accessPoint: string;
  readonly band: RadioBand;
  readonly channel: number | null;
  readonly isProtected: boolean;
  /** What the plan says of this access point: group frames become unicast, or not; null where it does not say. */
  readonly isConverting: boolean | null;
  readonly dtim: number | null;
  readonly streams: readonly StreamAirtime[];
  /** All streams that it carries, together, in the order of the streams' own. */
  readonly multicast: readonly ModeShare[];
  readonly unicast: readonly ModeShare[];
}

/** Null: what the plan says of the access point, or what is usual. */
export interface AirtimeOptions {
  readonly band: RadioBand | null;
  readonly isProtected: boolean | null;
  readonly multicastModes: readonly PhyMode[] | null;
  /** All stations in the same mode. */
  readonly stations: readonly AirStation[] | null;
}

export const AS_PLANNED: AirtimeOptions = { band: null, isProtected: null, multicastModes: null, stations: null };

/** Where neither plan nor user says: the mandatory OFDM rates, and two rates of stations without aggregation. */
const USUAL_MULTICAST: readonly PhyMode[] = [6e6, 12e6, 24e6].map((rateBps) => ofdm(rateBps as 6e6));
const USUAL_STATIONS: readonly AirStation[] = [24e6, 54e6].map((rateBps) => ({
  mode: ofdm(rateBps as 24e6),
  aggregatedFrames: 1,
}));

function ofdm(rateBps: 6e6 | 12e6 | 24e6 | 54e6): PhyMode {
  return { format: "ofdm", rateBps };
}

/** What is asked about where no scenario is given: seven MPEG-TS packets a datagram, as IPTV commonly sends. */
const SAMPLE: AskedStream = { name: "1 Mbit/s", group: "239.195.10.4", rateBps: 1e6, payloadBytes: 1316 };

type AskedStream = Pick<PlacedStream, "name" | "group" | "rateBps" | "payloadBytes">;
/** With the nodes that it comes from and that join it. */
export type LoadingStream = AskedStream & Pick<PlacedStream, "source" | "listeners">;

/** What a scenario will send, each stream at its heaviest; null: none is given. Pure. */
export const planAirtime = (
  graph: SiteGraph,
  scenario: Scenario | null,
  options: AirtimeOptions = AS_PLANNED,
): AccessPointAirtime[] => airtimeOf(graph, scenario === null ? null : peakStreams(graph, scenario), options);

/** The least share of each access point's air that each stream takes, and all of them; null: a sample. Pure. */
export function airtimeOf(
  graph: SiteGraph,
  streams: readonly LoadingStream[] | null,
  options: AirtimeOptions = AS_PLANNED,
): AccessPointAirtime[] {
  const accessPoints = [...graph.nodes.values()].filter(({ kind }) => kind === "access-point");
  if (accessPoints.length === 0) return [];
  const listeners = (streams ?? []).map((stream) => new Set(stream.listeners));
  const reaches = (streams ?? []).map((stream) => byDesignReach(graph, stream.source, stream.listeners));
  return accessPoints.map(({ name: accessPoint, radio }) => {
    const air = radioOf(radio, options);
    const stations = stationsOf(graph, accessPoint);
    const counted = (streams ?? []).map((stream, at) => {
      const joined = stations.filter((station) => listeners[at]?.has(station));
      return airtime(graph, stream, joined, reaches[at]?.nodes.has(accessPoint) === true, air);
    });
    const told = streams === null ? [airtime(graph, SAMPLE, [], true, air)] : counted;
    const carried = told.filter(({ isCarried }) => isCarried);
    return {
      accessPoint,
      band: air.band,
      channel: radio?.channel ?? null,
      isProtected: air.isProtected,
      isConverting: radio?.isConverting ?? null,
      dtim: radio?.dtim ?? null,
      streams: told,
      multicast: sumOf(carried.map(({ multicast }) => multicast)),
      unicast: sumOf(carried.map(({ unicast }) => unicast)),
    };
  });
}

interface PlannedAir {
  readonly band: RadioBand;
  readonly isProtected: boolean;
  readonly multicastModes: readonly PhyMode[];
  /** Of the access point's stations alike; null: each has the plan's own. */
  readonly stations: readonly AirStation[] | null;
  readonly radio: SiteRadio | undefined;
}

function radioOf(radio: SiteRadio | undefined, options: AirtimeOptions): PlannedAir {
  const planned = radio?.multicastMode ?? null;
  return {
    band: options.band ?? radio?.band ?? "5 GHz",
    isProtected: options.isProtected ?? radio?.isEncrypted ?? true,
    multicastModes: options.multicastModes ?? (planned === null ? USUAL_MULTICAST : [planned]),
    stations: options.stations,
    radio,
  };
}

/** Hosts linked to the access point itself: what hangs on its wired side is a switch or a router. */
export const stationsOf = (graph: SiteGraph, accessPoint: string): string[] =>
  (graph.outgoing.get(accessPoint) ?? [])
    .map((segment) => segment.to.node)
    .filter((node) => graph.nodes.get(node)?.kind === "host");

function airtime(
  graph: SiteGraph,
  { name, group, rateBps, payloadBytes }: AskedStream,
  stations: readonly string[],
  isCarried: boolean,
  air: PlannedAir,
): StreamAirtime {
  const { band, isProtected } = air;
  const stream: AirStream = { rateBps, payloadBytes, family: parseIpAddress(group)?.family ?? 4, isProtected, band };
  const ways = unicastWays(graph, stations, air);
  return {
    stream: name,
    rateBps,
    payloadBytes,
    stations,
    isCarried,
    multicast: air.multicastModes.map((mode) => ({
      mode: describePhyMode(mode),
      share: multicastAirShare(stream, mode),
    })),
    unicast: ways.map((way) => ({ mode: way.mode, share: unicastAirShare(stream, way.stations) })),
    copies: stations.flatMap((_, at) => {
      const station = ways[0]?.stations[at];
      return station === undefined
        ? []
        : [{ mode: describeStation(station), share: unicastAirShare(stream, [station]) }];
    }),
  };
}

/** The modes in which the stations get their copies: as the plan has each, or all alike in those that are asked about. */
function unicastWays(
  graph: SiteGraph,
  stations: readonly string[],
  { stations: asked, radio }: PlannedAir,
): { mode: string; stations: AirStation[] }[] {
  const names = stations.length === 0 ? [null] : stations;
  const planned = names.map((name) => plannedStation(name === null ? undefined : graph.nodes.get(name)?.radio, radio));
  if (asked === null && planned.every((station) => station !== null)) {
    const words = new Set(planned.map(describeStation));
    return [{ mode: [...words].join(BETWEEN_MODES), stations: planned }];
  }
  return (asked ?? USUAL_STATIONS).map((station) => ({
    mode: describeStation(station),
    stations: names.map(() => station),
  }));
}

function plannedStation(own: SiteRadio | undefined, accessPoint: SiteRadio | undefined): AirStation | null {
  const mode = own?.stationMode ?? accessPoint?.stationMode ?? null;
  const aggregatedFrames = own?.aggregatedFrames ?? accessPoint?.aggregatedFrames ?? 1;
  return mode === null ? null : { mode, aggregatedFrames };
}

const describeStation = ({ mode, aggregatedFrames }: AirStation): string =>
  `${describePhyMode(mode)}${aggregatedFrames > 1 ? `, ${aggregatedFrames} frames at once` : ""}`;

/** Stands between the modes of several stations. */
const BETWEEN_MODES = "; ";

/** Streams one under the other: their first alternatives together, their second ones, and so on. */
function sumOf(streams: readonly (readonly ModeShare[])[]): ModeShare[] {
  return (streams[0] ?? []).map((first, at) => {
    const shares = streams.flatMap((alternatives) => alternatives[at] ?? []);
    const modes = new Set(shares.flatMap(({ mode }) => mode.split(BETWEEN_MODES)));
    return {
      mode: modes.size === 1 ? first.mode : [...modes].join(BETWEEN_MODES),
      share: addShares(shares.map((one) => one.share)),
    };
  });
}
