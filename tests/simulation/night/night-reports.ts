import { StreamTracker } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, MembershipEvent, WatcherReport } from "@dyetrace/wire";
import type { CompiledStream } from "../../../controller/src/plan/compiled-run.ts";
import type { ReportBody } from "../../../controller/src/store/pack/kept-report.ts";
import { type KnownIncident, type NightScene, QUERY_EVERY_S } from "./night-scene.ts";

export interface NightReport {
  readonly agent: string;
  readonly stint: string;
  /** Within the stint, from 1. */
  readonly number: number;
  readonly isFinal: boolean;
  readonly body: ReportBody;
}

const SECOND_NS = 1e9;
/** Time from the source to any listener. */
const DELAY_NS = 1e6;
/** Around what happens, so that a tracker has met the stream before and settles what is missing after. */
const BUSY_S = 4;

const NOTHING_FOREIGN: ListenerInterval["foreign"] = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
const QUIET_HOST: IntervalReport["host"] = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 0,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};

/**
 * What one listener's agent reports in a night, a report a second, from real trackers.
 * @param isWhole false: only seconds around what happens to it, as nothing but counts comes of the others
 */
export function* nightReports(scene: NightScene, agent: string, isWhole: boolean): Generator<NightReport> {
  const own = scene.incidents.filter(({ listeners }) => listeners.includes(agent));
  const isSteady = scene.steady.some(({ listener }) => listener === agent);
  const trackers = scene.run.streams.map((stream) => new Reception(scene, agent, stream, own));
  const breaks = own.filter(({ kind }) => kind === "away" || kind === "restart");
  let [stint, number, fromNs] = [1, 0, 0];
  let isGoing = false;
  for (let second = 0; second < scene.lengthS; second++) {
    const toNs = (second + 1) * SECOND_NS;
    const gone = breaks.find((one) => one.fromS < second + 1 && one.toS >= second);
    if (gone !== undefined) {
      // The report of the second in which it ended is lost with it.
      if (gone.toS >= second + 1) continue;
      for (const one of trackers) one.restart();
      [stint, number, fromNs, isGoing] = [stint + 1, 0, gone.toS * SECOND_NS, true];
    } else if (!isWhole && !isSteady && !isBusy(own, second, scene.lengthS)) {
      isGoing = false;
      fromNs = toNs;
      continue;
    }
    if (!isGoing) for (const one of trackers) one.restart();
    isGoing = true;
    const isFinal = second === scene.lengthS - 1;
    const listeners = trackers.map((one) => one.until(fromNs, toNs, isFinal));
    const linkChanges = own.filter(({ kind, fromS }) => kind === "link" && Math.floor(fromS) === second).length;
    const report = { fromNs, toNs, listeners, senders: [], sourcesStopped: null, totals: null };
    const body = { report: { ...report, host: { ...QUIET_HOST, linkChanges } }, watch: watchOf(scene, second) };
    number = isWhole ? number + 1 : second + 1;
    yield { agent, stint: stint.toString(16).padStart(16, "0"), number, isFinal, body };
    fromNs = toNs;
  }
}

/** Whether anything but counts could come of this second. */
export const isBusy = (own: readonly KnownIncident[], second: number, lengthS: number): boolean =>
  second === 0 ||
  second === lengthS - 1 ||
  second % QUERY_EVERY_S === 0 ||
  own.some(({ fromS, toS }) => second >= fromS - BUSY_S && second <= toS + BUSY_S);

function watchOf({ queriers }: NightScene, second: number): WatcherReport {
  const querier = queriers.findLast(({ fromS }) => fromS <= second);
  const isAsked = second % QUERY_EVERY_S === 0 && querier !== undefined;
  const membership = isAsked ? [queryOf(querier.address, second * SECOND_NS)] : [];
  return { sinceNs: 0, streams: [], membership, unlistedMembership: 0, dropped: 0 };
}

const queryOf = (source: string, atNs: number): MembershipEvent => ({
  atNs,
  direction: "in",
  message: {
    kind: "query",
    family: 4,
    sourceMac: "02:00:00:00:00:01",
    destinationMac: "01:00:5e:00:00:01",
    vlanId: null,
    source,
    destination: "224.0.0.1",
    ttlHops: 1,
    hasRouterAlert: true,
    protocol: "igmp",
    version: 3,
    checksum: "good",
    group: null,
    sources: [],
    maxResponseMs: 10_000,
    suppressesRouters: false,
    robustness: 2,
    queryIntervalMs: QUERY_EVERY_S * 1000,
    hasExtension: false,
  },
});

/** One stream as it comes to one listener. Number n leaves at n times the interval. */
class Reception {
  readonly #scene: NightScene;
  readonly #agent: string;
  readonly #stream: CompiledStream;
  readonly #own: readonly KnownIncident[];
  readonly #intervalNs: number;
  #tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
  #joinedNs = 0;

  constructor(scene: NightScene, agent: string, stream: CompiledStream, own: readonly KnownIncident[]) {
    this.#scene = scene;
    this.#agent = agent;
    this.#stream = stream;
    this.#own = own;
    this.#intervalNs = (stream.payloadBytes * 8e9) / stream.rateBps;
  }

  restart(): void {
    this.#tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
    this.#joinedNs = 0;
  }

  until(fromNs: number, toNs: number, isLast: boolean): ListenerInterval {
    const now = this.#own.filter((one) => one.fromS * SECOND_NS < toNs && one.toS * SECOND_NS > fromNs);
    const first = Math.ceil(fromNs / this.#intervalNs);
    const end = Math.ceil(toNs / this.#intervalNs);
    let late: { readonly seq: number; readonly atNs: number } | null = null;
    for (let seq = first; seq < end; seq++) {
      const atNs = seq * this.#intervalNs;
      const is = (kind: KnownIncident["kind"]): boolean => isHit(now, kind, seq, atNs);
      if (is("outage") || is("burst") || this.#isSteadilyLost(seq)) continue;
      if (is("host-loss")) {
        this.#tracker.noteHostDrops(1, atNs + DELAY_NS);
        continue;
      }
      if (late === null && is("reordered") && seq + 1 < end) {
        late = { seq, atNs };
        continue;
      }
      this.#record(seq, atNs, atNs);
      if (late !== null) this.#record(late.seq, late.atNs, atNs + 1000);
      late = null;
      if (is("duplicates")) this.#record(seq, atNs, atNs + 2000);
    }
    if (late !== null) this.#record(late.seq, late.atNs, toNs - DELAY_NS);
    return {
      streamId: this.#stream.streamId,
      receipt: isLast ? this.#tracker.finish() : this.#tracker.cut(),
      memberships: [
        { joinRequestedNs: this.#joinedNs, firstPacketNs: null, lastPacketNs: null, leaveRequestedNs: null },
      ],
      hostLostPackets: 0,
      socketStreams: 1,
      foreign: NOTHING_FOREIGN,
    };
  }

  #record(seq: number, sentNs: number, atNs: number): void {
    this.#tracker.record(seq, sentNs, atNs + DELAY_NS, 250, this.#stream.streamId, 1, 0);
  }

  /** By a hash of number and listener, so that hosts lose different packets. */
  #isSteadilyLost(seq: number): boolean {
    const index = this.#scene.steady.findIndex(({ listener }) => listener === this.#agent);
    const own = this.#scene.steady[index];
    if (own === undefined) return false;
    let mixed = Math.imul(seq + 1, 0x9e3779b1) ^ Math.imul(2 * this.#scene.seed + index, 0x85ebca6b);
    mixed = Math.imul(mixed ^ (mixed >>> 15), 0x2c1b3c6d) ^ Math.imul(this.#stream.streamId, 0x297a2d39);
    mixed = Math.imul(mixed ^ (mixed >>> 13), 0x297a2d39);
    return ((mixed ^ (mixed >>> 16)) >>> 0) / 2 ** 32 < own.ratio;
  }
}

const isHit = (now: readonly KnownIncident[], kind: KnownIncident["kind"], seq: number, atNs: number): boolean =>
  now.some(
    (one) => one.kind === kind && atNs >= one.fromS * SECOND_NS && atNs < one.toS * SECOND_NS && seq % one.every === 0,
  );
