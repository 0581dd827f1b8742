import type { StoryLane, StoryMark } from "@dyetrace/wire";
import type { Said } from "./said.ts";

/** A message as a whole: who sent it, and everybody who heard it. */
export interface Telling {
  readonly lane: string;
  readonly said: Said;
  readonly heardBy: string[];
}

/** Clocks of hosts, and the time that a frame is under way, differ by less than this. Common practice, no source. */
const SAME_MS = 400;
/** Hosts of no agent that get a lane. */
const MOST_STRANGERS = 20;

export interface LaneBook {
  readonly lanes: readonly StoryLane[];
  readonly tellings: readonly Telling[];
  readonly leftOut: readonly string[];
}

/** Whose lane is whose. */
export interface LaneNames {
  readonly hostOf: (agent: string) => string;
  readonly canWatch: (agent: string) => boolean;
  /** Every agent that took part. */
  readonly agents: readonly string[];
}

/**
 * One telling for each message, however many hosts heard it, on the lane of whoever sent it: a query on the querier's,
 * a report on its host's, or on a stranger's where no agent sits there.
 * @param all in the order of time
 */
export function laneBook(all: readonly Said[], { hostOf, canWatch, agents }: LaneNames): LaneBook {
  const lanes = new Map<string, StoryLane>(
    agents.map((agent) => [
      hostOf(agent),
      {
        id: hostOf(agent),
        kind: "host",
        name: hostOf(agent),
        agent,
        family: null,
        version: null,
        vlan: null,
        canWatch: canWatch(agent),
      },
    ]),
  );
  const hostOfMac = new Map(all.flatMap(({ isOwn, mac, agent }) => (isOwn ? [[mac, hostOf(agent)] as const] : [])));
  const strangers = new Set<string>();
  let untold = 0;
  const tellings: Telling[] = [];
  const byKey = new Map<string, Telling[]>();
  // What a host says of itself comes first: what others heard of it is put beside that.
  for (const said of [...all.filter(({ isOwn }) => isOwn), ...all.filter(({ isOwn }) => !isOwn)]) {
    const lane = laneOf(said, hostOfMac, hostOf);
    if (!lanes.has(lane.id)) {
      if (lane.kind === "stranger" && strangers.size >= MOST_STRANGERS) {
        untold++;
        continue;
      }
      if (lane.kind === "stranger") strangers.add(lane.id);
      lanes.set(lane.id, lane);
    }
    const key = [lane.id, said.kind, said.family, said.version, said.group, said.record, said.sources.join(",")].join(
      " ",
    );
    const alike = byKey.get(key) ?? [];
    byKey.set(key, alike);
    const hearer = hostOf(said.agent);
    const same = said.isOwn ? undefined : nearest(alike, said, hearer);
    if (same !== undefined) {
      same.heardBy.push(hearer);
      continue;
    }
    const telling: Telling = { lane: lane.id, said, heardBy: said.isOwn ? [] : [hearer] };
    alike.push(telling);
    tellings.push(telling);
  }
  tellings.sort((a, b) => a.said.atMs - b.said.atMs);
  const leftOut = untold === 0 ? [] : [`${untold} messages of further hosts without an agent are not told.`];
  return { lanes: [...lanes.values()], tellings, leftOut };
}

function laneOf(said: Said, hostOfMac: ReadonlyMap<string, string>, hostOf: (agent: string) => string): StoryLane {
  const { kind, isOwn, agent, address, mac, family, version, vlan } = said;
  if (kind === "query" || kind === "group-query" || kind === "hello") {
    // Several switches may query from no address at all.
    const name = address === "0.0.0.0" || address === "::" ? `${address} (${mac})` : address;
    const id = `querier ${name}${vlan === null ? "" : ` vlan ${vlan}`}`;
    return { id, kind: "querier", name, agent: null, family, version, vlan, canWatch: false };
  }
  const host = isOwn ? hostOf(agent) : hostOfMac.get(mac);
  const kindOfLane = host === undefined ? "stranger" : "host";
  const name = host ?? address;
  const id = host ?? `stranger ${address} ${mac}`;
  return {
    id,
    kind: kindOfLane,
    name,
    agent: null,
    family: null,
    version: null,
    vlan: null,
    canWatch: host !== undefined,
  };
}

/** The telling that this hearing is most likely of: near enough, and not one that this host has heard already. */
function nearest(alike: readonly Telling[], said: Said, hearer: string): Telling | undefined {
  let best: Telling | undefined;
  for (const one of alike) {
    if (one.heardBy.includes(hearer) || one.lane === hearer) continue;
    const apartMs = Math.abs(one.said.atMs - said.atMs);
    const isBothMany = one.said.count > 1 && said.count > 1;
    if (apartMs > SAME_MS && !isBothMany) continue;
    if (best === undefined || apartMs < Math.abs(best.said.atMs - said.atMs)) best = one;
  }
  return best;
}

export const markOf = ({ lane, said, heardBy }: Telling): StoryMark => ({
  lane,
  kind: said.kind,
  atMs: said.atMs,
  count: said.count,
  lastMs: said.lastMs,
  protocol: said.protocol,
  version: said.version,
  group: said.group,
  sources: [...said.sources],
  record: said.record,
  maxResponseMs: said.maxResponseMs,
  queryIntervalMs: said.queryIntervalMs,
  robustness: said.robustness,
  heardBy: [...heardBy].sort(),
});
