import type { ReportDelay, ReportReceipt, RunReport } from "@dyetrace/wire";
import { drawLosses } from "../draw-losses.ts";
import { type Random, seededRandom } from "../seeded-random.ts";

/** The site of the drawn batteries: two switches with two listeners each, of which every second joins. */
export const BATTERY_PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  board-1: { kind: host }
  board-2: { kind: host }
links:
  - core:1 -- east:24
  - core:2 -- west:24
  - core:9 -- tower:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - west:1 -- board-1:eth0
  - west:2 -- board-2:eth0
`;
const SIDES = { east: ["kiosk-1", "kiosk-2"], west: ["board-1", "board-2"] } as const;
export type Side = keyof typeof SIDES;
const LISTENERS: readonly string[] = [...SIDES.east, ...SIDES.west];
const MEMBERS: readonly string[] = ["kiosk-1", "board-1"];

/** What is not as it is on the healthy site. */
export interface BatteryFault {
  /** On the way to these two. */
  readonly side: Side;
  /** More than the site's own. */
  readonly lossRatio?: number;
  readonly joinMs?: number;
  readonly leaveMs?: number;
  readonly leaks?: boolean;
  /** The n-th of the many groups does not come. */
  readonly missingGroup?: number;
}

/** What of a shipped scenario at its defaults a comparison goes by (controller/scenarios). */
interface Shape {
  readonly scenario: string;
  readonly packets: number;
  readonly perSecond: number;
  readonly streams: number;
  readonly isForMembers: boolean;
  /** Joins and leaves of each member. */
  readonly trials: number;
}

export const SHAPES: readonly Shape[] = [
  { scenario: "reach", packets: 1900, perSecond: 190, streams: 1, isForMembers: false, trials: 0 },
  { scenario: "containment", packets: 6800, perSecond: 380, streams: 1, isForMembers: true, trials: 1 },
  { scenario: "size-steps", packets: 16_000, perSecond: 450, streams: 1, isForMembers: false, trials: 0 },
  { scenario: "many-groups", packets: 110, perSecond: 10, streams: 64, isForMembers: true, trials: 1 },
  { scenario: "join-and-leave", packets: 15_600, perSecond: 312, streams: 1, isForMembers: true, trials: 10 },
];

/** @param siteLoss what every link loses at random, faults or not */
export function drawRun(shape: Shape, faults: readonly BatteryFault[], siteLoss: number, random: Random): RunReport {
  const { scenario, packets, perSecond, isForMembers } = shape;
  const names = Array.from({ length: shape.streams }, (_, at) => (shape.streams === 1 ? "board" : `wall-${at + 1}`));
  const joined = isForMembers ? MEMBERS : LISTENERS;
  const receipts = names.flatMap((stream, at) =>
    Object.entries(SIDES).flatMap(([side, hosts]) => {
      const own = faults.filter((fault) => fault.side === side);
      const isMissing = own.some(({ missingGroup }) => missingGroup === at);
      const onTrunk = own.reduce((sum, { lossRatio = 0 }) => sum + lossRatio, siteLoss);
      // What is lost on the way that they share is lost to both.
      const shared = isMissing ? ([[0, packets - 1]] as const) : drawLosses(packets, onTrunk, 1, random);
      return hosts
        .filter((host) => joined.includes(host))
        .map((listener) => drawReceipt({ shape, stream, listener, shared, own, siteLoss, random }));
    }),
  );
  const leaky = faults.filter(({ leaks }) => leaks === true);
  const bystanders = isForMembers
    ? LISTENERS.filter((one) => !MEMBERS.includes(one)).flatMap((agent) =>
        names.map((stream) => {
          const isLeak = leaky.some(({ side }) => (SIDES[side] as readonly string[]).includes(agent));
          return { stream, agent, frames: isLeak ? packets : 0, firstMs: null, lastMs: null, ranges: [] };
        }),
      )
    : [];
  return {
    formatVersion: 1,
    run: `${scenario}-${Math.floor(random() * 2 ** 32).toString(16)}`,
    site: "Quillfen",
    scenario,
    startedAt: "2026-01-01T00:00:00.000Z",
    endedAt: "2026-01-01T00:02:00.000Z",
    verdict: "pass",
    reason: "",
    streams: names.map((name, at) => ({
      name,
      source: "tower",
      group: `233.252.0.${at + 1}`,
      port: 48_620,
      rateBps: perSecond * 8 * 400,
      payloadBytes: 400,
      ttl: 1,
      dscp: 0,
      sent: packets,
      sentRateBps: perSecond * 8 * 400,
      sendErrors: 0,
      pacingP999Ms: 1,
      pacingMaxMs: 2,
    })),
    receipts,
    bystanders,
    queriers: [],
    segments: [],
    findings: (isForMembers ? leaky : []).map(({ side }) => ({
      kind: "leaks" as const,
      streams: names,
      suspects: [side],
      confidence: 0.9,
      title: `${side} floods`,
      evidence: [],
      advice: "",
      reference: "",
    })),
    expectations: [],
    coverage: { ambiguousSets: [], nextAgentAt: null },
    notes: [],
  };
}

interface ReceiptDraw {
  readonly shape: Shape;
  readonly stream: string;
  readonly listener: string;
  readonly shared: readonly (readonly [number, number])[];
  readonly own: readonly BatteryFault[];
  readonly siteLoss: number;
  readonly random: Random;
}

function drawReceipt({ shape, stream, listener, shared, own, siteLoss, random }: ReceiptDraw): ReportReceipt {
  const { packets, perSecond, trials } = shape;
  const intervalMs = 1000 / perSecond;
  const gaps = [...shared, ...drawLosses(packets, siteLoss, 1, random)]
    .sort(([a], [b]) => a - b)
    .filter(([first], at, all) => at === 0 || first > (all[at - 1]?.[1] ?? -1))
    .map(([first, last]) => ({
      firstSeq: first,
      count: last - first + 1,
      startMs: first * intervalMs,
      durationMs: (last - first + 1) * intervalMs,
    }));
  const lost = gaps.reduce((sum, { count }) => sum + count, 0);
  const more = (of: (fault: BatteryFault) => number | undefined): number =>
    own.reduce((sum, fault) => sum + (of(fault) ?? 0), 0);
  // Where between two packets the joins of a run come is the same in all trials, and another in the next run.
  const phaseMs = random() * intervalMs;
  const joinDelays = drawDelay(trials, 1 + more(({ joinMs }) => joinMs) + phaseMs, 2, intervalMs, random);
  const hasLeaves = shape.scenario !== "many-groups";
  const leaveDelays = hasLeaves
    ? drawDelay(trials, 2000 + more(({ leaveMs }) => leaveMs) + phaseMs, 25, intervalMs, random)
    : null;
  return {
    stream,
    listener,
    stays: Math.max(1, trials),
    sent: packets,
    received: packets - lost,
    lost,
    lossRatio: lost / packets,
    hostLost: 0,
    duplicates: 0,
    reordered: 0,
    gaps,
    longestGapMs: 0,
    jitterMs: 0.02 + random() * 0.05,
    joinDelayMs: joinDelays?.medianMs ?? null,
    leaveDelayMs: leaveDelays?.medianMs ?? null,
    joinDelays,
    leaveDelays,
    leavesWithoutEffect: hasLeaves ? 0 : null,
    hops: 0,
    asUnicastRatio: 0,
    foreign: 0,
  };
}

function drawDelay(
  trials: number,
  fromMs: number,
  spreadMs: number,
  resolutionMs: number,
  random: Random,
): ReportDelay | null {
  if (trials === 0) return null;
  const valuesMs = Array.from({ length: trials }, () => fromMs + random() * spreadMs);
  const sorted = valuesMs.toSorted((a, b) => a - b);
  const [minMs = 0, maxMs = 0] = [sorted[0], sorted.at(-1)];
  return { trials, minMs, medianMs: sorted[trials >> 1] ?? 0, p95Ms: maxMs, maxMs, resolutionMs, valuesMs };
}

/** A battery as it was before and after, each from its own chance. */
export function drawPairs(seed: number, faults: readonly BatteryFault[], siteLoss: number) {
  const random = seededRandom(seed);
  return SHAPES.map((shape) => ({
    scenario: shape.scenario,
    before: drawRun(shape, [], siteLoss, random),
    after: drawRun(shape, faults, siteLoss, random),
  }));
}
