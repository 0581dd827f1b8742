import { movesIn } from "@dyetrace/measure";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportReceipt, ReportRoam, ReportWifi } from "@dyetrace/wire";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";
import { accessPointOf } from "../account/access-point-of.ts";
import type { RunAccount } from "../account/run-account.ts";
import { rateInAllBps } from "../plan/compiled-run.ts";
import { peakStreams } from "../plan/confirm-load.ts";
import { airtimeOf, type LoadingStream, type ModeShare, stationsOf } from "../plan/plan-airtime.ts";

/** Frames of both kinds: a share below or above these is that of a few queries or of a change at the edges. */
const FEW_RATIO = 0.02;

type Delivery = ReportWifi["deliveries"][number];

/** How streams came over the air, and what that takes of it; null where the run had nothing to do with Wi-Fi. Pure. */
export function reportWifi(
  { run, agents }: RunAccount,
  graph: SiteGraph,
  receipts: readonly ReportReceipt[],
): ReportWifi | null {
  const modeOf = (stream: string, agent: string): Delivery["delivered"] =>
    deliveredAs(receipts.find((one) => one.stream === stream && one.listener === agent)?.asUnicastRatio ?? null);
  const found = airtimeOf(graph, loadsOf(run, graph)).map(({ accessPoint, streams, multicast, unicast }) => {
    const deliveries = streams.flatMap(({ stream, isCarried, stations, multicast: once, copies }) => {
      const asMulticast = shareOf(once[0]);
      if (!isCarried || asMulticast === null) return [];
      return stations.flatMap((station, at): Delivery[] => {
        const agent = graph.nodes.get(station)?.agent ?? null;
        const asUnicast = shareOf(copies[at]);
        if (agent === null || asUnicast === null || !agents.has(agent)) return [];
        return [{ stream, agent, accessPoint, delivered: modeOf(stream, agent), asMulticast, asUnicast }];
      });
    });
    const [asMulticast, asUnicast] = [shareOf(multicast[0]), shareOf(unicast[0])];
    if (deliveries.length === 0 || asMulticast === null || asUnicast === null) return null;
    return {
      deliveries,
      air: { accessPoint, asMulticast, asUnicast, deliveredShareRatio: deliveredShare(deliveries) },
    };
  });
  const told = found.filter((one) => one !== null);
  const stations = [...agents.values()].flatMap(({ agent, wifi }) => stationOf(agent, wifi, graph));
  if (told.length === 0 && stations.length === 0) return null;
  return {
    accessPoints: told.map(({ air }) => air),
    deliveries: told.flatMap(({ deliveries }) => deliveries),
    stations,
  };
}

/** What was to be sent at its heaviest; of a stream of others what was seen of it, and nothing where it was not seen. */
const loadsOf = (run: RunAccount["run"], graph: SiteGraph): readonly LoadingStream[] => [
  ...peakStreams(graph, run.scenario),
  ...run.streams.flatMap((stream): LoadingStream[] => {
    if (stream.production === undefined || stream.followed?.format == null) return [];
    const joined = run.joins.flatMap((join) => (join.stream === stream.name ? [join.agent] : []));
    return [
      {
        ...stream,
        rateBps: rateInAllBps(stream),
        source: stream.sourceHost,
        listeners: [...new Set(joined)].flatMap((agent) => hostOfAgent(graph, agent) ?? []),
      },
    ];
  }),
];

const shareOf = (one: ModeShare | undefined): Delivery["asMulticast"] | null =>
  one === undefined ? null : { mode: one.mode, shareRatio: one.share.withBackoffRatio };

function deliveredAs(unicastRatio: number | null): Delivery["delivered"] {
  if (unicastRatio === null) return null;
  if (unicastRatio <= FEW_RATIO) return "multicast";
  return unicastRatio >= 1 - FEW_RATIO ? "unicast" : "both";
}

/** Each stream once where any station got it as multicast, and a copy for each that got its own. */
function deliveredShare(deliveries: readonly Delivery[]): number | null {
  if (deliveries.some(({ delivered }) => delivered === null || delivered === "both")) return null;
  const once = new Map(
    deliveries.flatMap(({ stream, delivered, asMulticast }) =>
      delivered === "multicast" ? [[stream, asMulticast.shareRatio] as const] : [],
    ),
  );
  const copies = deliveries.filter(({ delivered }) => delivered === "unicast");
  return [...once.values(), ...copies.map(({ asUnicast }) => asUnicast.shareRatio)].reduce((sum, one) => sum + one, 0);
}

function stationOf(agent: string, sights: readonly WifiSight[], graph: SiteGraph): ReportWifi["stations"] {
  const last = sights.at(-1);
  if (last === undefined) return [];
  const { atNs: _atNs, ...facts } = last;
  const signals = sights.flatMap(({ signalDbm }) => signalDbm ?? []);
  return [
    {
      agent,
      accessPoint: facts.bssid === null ? null : accessPointOf(graph, facts.bssid),
      ...facts,
      leastSignalDbm: signals.length === 0 ? null : Math.min(...signals),
    },
  ];
}

/** In order of time. */
export const reportRoams = ({ agents }: RunAccount, graph: SiteGraph): ReportRoam[] =>
  [...agents.values()]
    .flatMap(({ agent, wifi }) =>
      movesIn(wifi).map(({ atNs, from, to }) => ({
        agent,
        atMs: atNs / 1e6,
        fromBssid: from,
        toBssid: to,
        from: accessPointOf(graph, from),
        to: accessPointOf(graph, to),
      })),
    )
    .sort((a, b) => a.atMs - b.atMs);

/** What a reader should know of moves: where the plan's place held for a part of the run only. */
export const roamNotes = (roams: readonly ReportRoam[], graph: SiteGraph): string[] =>
  [...new Set(roams.map(({ agent }) => agent))].map((agent) => {
    const own = roams.filter((roam) => roam.agent === agent);
    const way = [own[0]?.from ?? own[0]?.fromBssid ?? "", ...own.map(({ to, toBssid }) => to ?? toBssid)];
    const unknown = own.some(({ from, to }) => from === null || to === null);
    const planned = stationPlace(graph, agent);
    return `${agent} roamed in the run (${way.slice(0, 8).join(", then ")}): its place in the plan${planned === null ? "" : `, ${planned},`} held for a part of it at most${unknown ? ", and the plan has not the BSSIDs of all" : ""}, so what is said of places behind it is less sure.`;
  });

const stationPlace = (graph: SiteGraph, agent: string): string | null => {
  const host = hostOfAgent(graph, agent);
  return (
    [...graph.nodes.values()].find(
      ({ name, kind }) => kind === "access-point" && host !== null && stationsOf(graph, name).includes(host),
    )?.name ?? null
  );
};
