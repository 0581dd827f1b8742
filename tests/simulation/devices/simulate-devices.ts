import type { LinkSegment, SiteGraph } from "@dyetrace/site";
import { groupMac, parseIpAddress } from "@dyetrace/wire";
import type { DeviceObservation, PortCount } from "../../../packages/locate/src/run/device-observations.ts";
import { indexSite } from "../../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, sourceTree } from "../../../packages/locate/src/site/source-tree.ts";
import type { Random } from "../seeded-random.ts";
import { JOINED_FROM_MS, type SimulatedStream } from "../simulated-fault.ts";

/**
 * Where on a link frames are dropped, as its counters see it: in the sending port before it counts, on the wire, or in the receiving
 * port behind what it counts.
 */
export const DROP_PLACES = ["before-out", "wire", "behind-in"] as const;
export interface CountedDrop {
  /** One direction: frames on it are lost, and so are the membership reports that travel along it. */
  readonly segment: string;
  readonly where: (typeof DROP_PLACES)[number];
  /** Of frames of data; 1 is all. */
  readonly ratio: number;
}

export interface DeviceScene {
  readonly graph: SiteGraph;
  readonly streams: readonly SimulatedStream[];
  /** Null: nothing is wrong. */
  readonly drop: CountedDrop | null;
  /** Nodes that are read. */
  readonly read: ReadonlySet<string>;
  /** Frames per second of the site's own at the busiest port. */
  readonly background: number;
}

const RUN_S = 14;
const QUIET_S = 2;
/** The first before anybody joined. */
const READ_AT_MS: readonly number[] = [-4_000, 3_000, 8_000];

/**
 * What switches would count and have in their tables in such a run, on paper: it shares the site's numbering with what reasons from
 * it, and nothing else. Every listener's reports go up to the source's side of the tree, which has to be the querier's.
 */
export function simulateDevices(scene: DeviceScene, random: Random): DeviceObservation[] {
  const counts = new Map<string, number>();
  const tables = new Map<string, Map<string, Set<string>>>();
  const site = indexSite(scene.graph);
  const add = (node: string, port: string, side: "in" | "out", frames: number): void => {
    const key = `${node}:${port} ${side}`;
    counts.set(key, Math.max(counts.get(key) ?? 0, frames));
  };
  const total = new Map<string, number>();
  for (const { source, listeners, group, packets } of scene.streams) {
    counts.clear();
    const tree = sourceTree(site, site.nodeNumber.get(source) ?? -1);
    for (const listener of listeners) {
      const way = nodesDownTo(tree, site.nodeNumber.get(listener) ?? -1).flatMap(
        (node) => site.segments[tree.into[node] ?? -1] ?? [],
      );
      const reach = reportsReach(way, scene.drop);
      for (const [link, { from }] of way.entries()) {
        if (link < reach || scene.graph.nodes.get(from.node)?.kind !== "switch") continue;
        const table = tables.get(from.node) ?? new Map<string, Set<string>>();
        tables.set(from.node, table);
        table.set(group, (table.get(group) ?? new Set()).add(from.port));
      }
      let frames = packets;
      for (const [link, segment] of way.entries()) {
        // Without a report from below, a switch sends nothing down; hosts and what floods do.
        if (link < reach && scene.graph.nodes.get(segment.from.node)?.kind === "switch") break;
        const drop = scene.drop?.segment === segment.id ? scene.drop : null;
        const left = drop === null ? frames : Math.round(frames * (1 - drop.ratio));
        add(segment.from.node, segment.from.port, "out", drop?.where === "before-out" ? left : frames);
        add(segment.to.node, segment.to.port, "in", drop?.where === "behind-in" ? frames : left);
        frames = left;
      }
    }
    for (const [key, frames] of counts) total.set(key, (total.get(key) ?? 0) + frames);
  }
  return [...scene.read].map((node) => ({
    node,
    ports: (scene.graph.outgoing.get(node) ?? []).map(({ from: { port } }) => ({
      port,
      vlan: null,
      in: countOf(total.get(`${node}:${port} in`) ?? 0, scene.background, random),
      out: countOf(total.get(`${node}:${port} out`) ?? 0, scene.background, random),
    })),
    tables: (scene.graph.nodes.get(node)?.kind === "switch" ? READ_AT_MS : []).map((atMs) => ({
      atMs,
      groups: [...(atMs < JOINED_FROM_MS ? [] : (tables.get(node) ?? []))].map(([group, ports]) => ({
        vlan: null,
        group: groupMac(parseIpAddress(group) ?? { family: 4, bytes: new Uint8Array(4) }),
        ports: [...ports],
      })),
      allGroupPorts: [],
      isWhole: true,
    })),
  }));
}

/** How far up the reports of a listener get: the number of the topmost link that they come up, on the way down to it. */
function reportsReach(way: readonly LinkSegment[], drop: CountedDrop | null): number {
  for (let link = way.length - 1; link >= 0; link--) {
    const segment = way[link];
    if (segment === undefined || drop === null) continue;
    const up = `${segment.to.node}:${segment.to.port}>${segment.from.node}:${segment.from.port}`;
    if (up === drop.segment) return link + 1;
  }
  return 0;
}

/** The site's own traffic beside the streams, which was somewhat other before the run, and readings a little apart. */
function countOf(frames: number, background: number, random: Random): PortCount {
  const rate = random() * background;
  const isOff = 1 + 0.3 * (random() - 0.5);
  return {
    frames: Math.round(frames + rate * RUN_S * isOff + 2 * random()),
    quietPerS: Math.round(rate * QUIET_S) / QUIET_S,
    quietS: QUIET_S,
    fromMs: -1_000,
    toMs: RUN_S * 1000 - 1_000,
    skewMs: 200,
    hasEverCounted: true,
  };
}
