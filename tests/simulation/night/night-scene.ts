import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { compileScenario } from "../../../controller/src/plan/compile-scenario.ts";
import type { CompiledRun } from "../../../controller/src/plan/compiled-run.ts";
import { drawInteger, drawOne, type Random, seededRandom } from "../seeded-random.ts";

/** What is done to a simulated night. */
export const NIGHT_KINDS = [
  "outage",
  "burst",
  "away",
  "restart",
  "link",
  "querier-change",
  "duplicates",
  "reordered",
  "host-loss",
] as const;
export type NightKind = (typeof NIGHT_KINDS)[number];

/** One thing that is done, with all that a true telling of it needs. */
export interface KnownIncident {
  readonly kind: NightKind;
  readonly fromS: number;
  readonly toS: number;
  /** Whom it befalls. */
  readonly listeners: readonly string[];
  /** The segment or host that is at fault; null: it has no place. */
  readonly place: string | null;
  /** Of the packets due in it, every which one: 1 is all. */
  readonly every: number;
}

/** A listener whose own link loses this share of all packets, the whole night. */
export interface SteadyHost {
  readonly listener: string;
  readonly place: string;
  readonly ratio: number;
}

export interface NightScene {
  readonly seed: number;
  readonly plan: string;
  readonly scenario: string;
  readonly graph: SiteGraph;
  readonly run: CompiledRun;
  readonly lengthS: number;
  readonly listeners: readonly string[];
  readonly steady: readonly SteadyHost[];
  readonly incidents: readonly KnownIncident[];
  /** Who asks at an instant: one address at a time, every 125 s (RFC 3376, 8.2). */
  readonly queriers: readonly { readonly fromS: number; readonly address: string }[];
}

const SWITCHES = ["east", "west", "south"];
const HOSTS_EACH = 3;
export const QUERY_EVERY_S = 125;
/** Two things of one kind at one listener are this far apart, so that they are two. */
const APART_S = 15;
/** No more than that many losses at once: beyond that no place is told (see loss-incidents.ts). */
const MOST_LOSSES_AT_ONCE = 3;

const hostsOf = (name: string): string[] => Array.from({ length: HOSTS_EACH }, (_, i) => `${name}-${i + 1}`);
const LISTENERS = SWITCHES.flatMap(hostsOf);
const PLAN = `site: Quillfen by night
nodes:
  core: { kind: switch, querier: true }
${SWITCHES.map((name) => `  ${name}: { kind: switch }`).join("\n")}
  tower: { kind: host }
  office: { kind: host }
${LISTENERS.map((name) => `  ${name}: { kind: host }`).join("\n")}
links:
  - core:8 -- tower:eth0
  - core:9 -- office:eth0
${SWITCHES.map((name, i) => `  - core:${i + 1} -- ${name}:24`).join("\n")}
${SWITCHES.flatMap((name) => hostsOf(name).map((host, i) => `  - ${name}:${i + 1} -- ${host}:eth0`)).join("\n")}
`;
/** 50 packets/s and 25 packets/s. */
const scenarioOf = (lengthS: number): string => `scenario: night
hold: 10 min
streams:
  - { name: board, source: tower, group: 233.252.0.10, rate: 100 kbit/s, payload: 250 B }
  - { name: music, source: office, group: 233.252.0.11, rate: 50 kbit/s, payload: 250 B }
timeline:
  - { at: 0s, join: [board, music], agents: [${LISTENERS.join(", ")}] }
  - { at: 0s, emit: [board, music] }
  - { at: ${lengthS}s, stop: [board, music] }
`;

/** A night with so many known incidents, a third of them while another is going on, over steady loss at two hosts. */
export function drawNight(seed: number, count = 40, lengthS = 8 * 3600): NightScene {
  const random = seededRandom(seed);
  const scenario = scenarioOf(lengthS);
  const graph = loadSitePlan(PLAN, "plan.yaml");
  const run = compileScenario("00000000000000aa", loadScenario(scenario, "night.yaml").scenario, graph, new Map());
  const first = drawOne(random, LISTENERS);
  const second = drawOne(
    random,
    LISTENERS.filter((one) => switchOf(one) !== switchOf(first)),
  );
  const steady = [
    { listener: first, place: linkOf(first), ratio: 0.03 },
    { listener: second, place: linkOf(second), ratio: 0.01 },
  ];
  const incidents: KnownIncident[] = [];
  for (let draws = 0; incidents.length < count && draws < 100_000; draws++) {
    const kind = NIGHT_KINDS[incidents.length % NIGHT_KINDS.length] ?? "outage";
    const beside = incidents.length === 0 || random() < 0.66 ? null : drawOne(random, incidents);
    const atS =
      beside === null ? 90 + random() * (lengthS - 300) : beside.fromS + random() * (beside.toS - beside.fromS + 2);
    const one = drawIncident(random, kind, Math.round(atS * 100) / 100, steady);
    if (one.toS < lengthS - 90 && incidents.every((other) => mayBoth(one, other)) && isRoom(one, incidents)) {
      incidents.push(one);
    }
  }
  if (incidents.length < count) throw new Error(`Seed ${seed}: no room for ${count} incidents in ${lengthS} s`);
  const sorted = incidents.toSorted((a, b) => a.fromS - b.fromS);
  const known = sorted.map((one) => (one.kind === "querier-change" ? toNextQuery(one) : one));
  const changes = known.filter(({ kind }) => kind === "querier-change");
  const queriers = [
    { fromS: 0, address: "192.0.2.1" },
    ...changes.map(({ fromS }, i) => ({ fromS, address: i % 2 === 0 ? "192.0.2.250" : "192.0.2.1" })),
  ];
  return { seed, plan: PLAN, scenario, graph, run, lengthS, listeners: LISTENERS, steady, incidents: known, queriers };
}

/** A querier shows as it asks. */
function toNextQuery(one: KnownIncident): KnownIncident {
  const atS = Math.ceil(one.fromS / QUERY_EVERY_S) * QUERY_EVERY_S;
  return { ...one, fromS: atS, toS: atS };
}

const switchOf = (host: string): string => host.split("-")[0] ?? "";
const linkOf = (host: string): string => `${switchOf(host)}:${host.split("-")[1]}>${host}:eth0`;
const trunkOf = (name: string): string => `core:${SWITCHES.indexOf(name) + 1}>${name}:24`;

const LENGTHS_S: Readonly<Record<NightKind, readonly [number, number]>> = {
  outage: [1, 60],
  burst: [0.2, 1],
  away: [5, 120],
  restart: [0.2, 1.2],
  link: [0.1, 0.8],
  "querier-change": [0, 0],
  duplicates: [2, 30],
  reordered: [2, 30],
  "host-loss": [1, 5],
};
const ON_THE_WAY: ReadonlySet<NightKind> = new Set<NightKind>(["outage", "burst", "duplicates", "reordered"]);

function drawIncident(random: Random, kind: NightKind, fromS: number, steady: readonly SteadyHost[]): KnownIncident {
  const [low, high] = LENGTHS_S[kind];
  const toS = Math.round((fromS + low + random() * (high - low)) * 100) / 100;
  const every = { outage: 1, burst: drawInteger(random, 1, 3), duplicates: 5, reordered: 9, "host-loss": 4 };
  const base = { kind, fromS, toS, every: every[kind as keyof typeof every] ?? 0 };
  if (kind === "querier-change") return { ...base, listeners: LISTENERS, place: null };
  if (ON_THE_WAY.has(kind) && random() < 0.5) {
    const name = drawOne(random, SWITCHES);
    return { ...base, listeners: hostsOf(name), place: trunkOf(name) };
  }
  // A short loss at a host that loses all the time is part of that.
  const hosts = LISTENERS.filter((host) => kind !== "burst" || steady.every(({ listener }) => listener !== host));
  const host = drawOne(random, hosts);
  const isOwn = kind === "link" || kind === "host-loss";
  return { ...base, listeners: [host], place: isOwn ? host : ON_THE_WAY.has(kind) ? linkOf(host) : null };
}

/** Harms no packet and needs none. */
const SHOWS_ALWAYS: ReadonlySet<NightKind> = new Set<NightKind>(["link", "querier-change"]);
const NOBODY_MEASURES: ReadonlySet<NightKind> = new Set<NightKind>(["away", "restart"]);

/** Whether both can be told from what listeners see. */
function mayBoth(a: KnownIncident, b: KnownIncident): boolean {
  const isNear = (apartS: number): boolean => a.fromS < b.toS + apartS && b.fromS < a.toS + apartS;
  if (a.kind === "querier-change" && b.kind === a.kind) return !isNear(3 * QUERY_EVERY_S);
  if (!isNear(APART_S) || !a.listeners.some((one) => b.listeners.includes(one))) return true;
  if (a.kind === b.kind) return false;
  if (NOBODY_MEASURES.has(a.kind) || NOBODY_MEASURES.has(b.kind)) {
    return a.kind === "querier-change" || b.kind === "querier-change";
  }
  return SHOWS_ALWAYS.has(a.kind) || SHOWS_ALWAYS.has(b.kind) || (isOrder(a.kind) && isOrder(b.kind));
}

const isOrder = (kind: NightKind): boolean => kind === "duplicates" || kind === "reordered";
const isLoss = ({ kind }: KnownIncident): boolean => kind === "outage" || kind === "burst";

function isRoom(one: KnownIncident, others: readonly KnownIncident[]): boolean {
  const beside = others.filter((other) => isLoss(other) && other.fromS < one.toS + 3 && one.fromS < other.toS + 3);
  return !isLoss(one) || beside.length < MOST_LOSSES_AT_ONCE;
}
