import type { IntervalReport, WatcherReport } from "@dyetrace/wire";
import { MOST_MOVES } from "./roams.ts";
import { keyOfSaid, type Said, saidIn } from "./said.ts";

/** A stream as the story needs it. */
export interface StoryStream {
  readonly streamId: number;
  readonly name: string;
  /** The agent that sends. */
  readonly source: string;
  readonly group: string;
  readonly packetIntervalMs: number;
  /** When it is to be sent. */
  readonly emits: readonly { readonly fromMs: number; readonly toMs: number }[];
}

/** A stretch of time in which packets came, or were sent. */
export interface Band {
  readonly fromMs: number;
  readonly toMs: number;
}

/** One stay of an agent in a stream's group, as it asked its kernel. */
export interface AskedStay {
  readonly joinMs: number;
  readonly leaveMs: number | null;
}

/** Of messages alike so many are kept one by one from the first on, and as many up to the last; those between as one. */
const KEPT_ALIKE = 60;
/** Of one agent. */
const MOST_KINDS = 512;
/** Of one agent and stream. */
const MOST_BANDS = 200;
const MOST_STAYS = 500;
/** Silence of this many packet intervals, and of this time at least, ends a band: as with leave delays. */
const QUIET_INTERVALS = 10;
const QUIET_LEAST_MS = 100;
/** A source tells interval by interval what it sent. */
const SENT_PAUSE_MS = 1_500;

/** Messages alike: the first ones, what lies between, the last ones. */
interface Alike {
  readonly head: Said[];
  between: Said | null;
  readonly tail: Said[];
}

/** What is kept of a run for its story: bounded, whatever its agents tell and for how long. */
export class StoryNotes {
  readonly #streams: ReadonlyMap<number, StoryStream>;
  readonly #groups: ReadonlySet<string>;
  readonly #alike = new Map<string, Map<string, Alike>>();
  readonly #bands = new Map<string, Band[]>();
  readonly #sent = new Map<string, Band[]>();
  readonly #stays = new Map<string, Map<number, AskedStay>>();
  readonly #places = new Map<string, { atNs: number; bssid: string | null }[]>();
  readonly #watching = new Set<string>();
  readonly #unlisted = new Map<string, number>();
  #untilMs = 0;
  #joinedBands = 0;

  constructor(streams: readonly StoryStream[]) {
    this.#streams = new Map(streams.map((stream) => [stream.streamId, stream]));
    this.#groups = new Set(streams.map(({ group }) => group));
  }

  /** Reports of one agent in the order of time; of several agents as they come. */
  take(agent: string, report: IntervalReport, watch: WatcherReport | null): void {
    this.#untilMs = Math.max(this.#untilMs, report.toNs / 1e6);
    if (!this.#alike.has(agent)) this.#alike.set(agent, new Map());
    for (const { streamId, sentPackets } of report.senders) {
      if (sentPackets > 0 && this.#streams.has(streamId))
        this.#add(this.#sent, `${agent} ${streamId}`, report.fromNs / 1e6, report.toNs / 1e6, SENT_PAUSE_MS);
    }
    for (const { streamId, memberships, receipt, watched } of report.listeners) {
      if (!this.#streams.has(streamId)) continue;
      for (const stay of watched === undefined ? memberships : [])
        this.#stay(`${agent} ${streamId}`, stay.joinRequestedNs, stay.leaveRequestedNs);
      if (watch === null && receipt !== null && receipt.firstArrivalNs !== null && receipt.lastArrivalNs !== null)
        this.#came(agent, streamId, receipt.firstArrivalNs, receipt.lastArrivalNs);
    }
    for (const { atNs, bssid } of report.wifi ?? []) this.#place(agent, atNs, bssid);
    if (watch === null) return;
    this.#watching.add(agent);
    for (const { streamId, firstNs, lastNs } of watch.streams) {
      if (firstNs !== null && lastNs !== null) this.#came(agent, streamId, firstNs, lastNs);
    }
    if (watch.unlistedMembership > 0) this.#leaveOut(agent, watch.unlistedMembership);
    for (const event of watch.membership) for (const said of saidIn(agent, event, this.#groups)) this.#hear(said);
  }

  /** Where a station was, in the order of time; empty of a host that is none. */
  placesOf(agent: string): readonly { readonly atNs: number; readonly bssid: string | null }[] {
    return this.#places.get(agent) ?? [];
  }

  #place(agent: string, atNs: number, bssid: string | null): void {
    const known = this.#places.get(agent);
    if (known === undefined) this.#places.set(agent, [{ atNs, bssid }]);
    else if (known.at(-1)?.bssid !== bssid) {
      known.push({ atNs, bssid });
      if (known.length > MOST_MOVES) known.shift();
    }
  }

  /** The end of the last interval that anybody told of. */
  get untilMs(): number {
    return this.#untilMs;
  }

  get streams(): readonly StoryStream[] {
    return [...this.#streams.values()];
  }

  /** Everybody who reported. */
  get agents(): readonly string[] {
    return [...this.#alike.keys()];
  }

  canWatch(agent: string): boolean {
    return this.#watching.has(agent);
  }

  /** Everything that was heard and said, in the order of time. */
  said(): readonly Said[] {
    const all = [...this.#alike.values()].flatMap((own) =>
      [...own.values()].flatMap(({ head, between, tail }) => [
        ...head,
        ...(between === null ? [] : [between]),
        ...tail,
      ]),
    );
    return all.sort((a, b) => a.atMs - b.atMs);
  }

  bandsOf(agent: string, streamId: number): readonly Band[] {
    return this.#bands.get(`${agent} ${streamId}`) ?? [];
  }

  sentBy(agent: string, streamId: number): readonly Band[] {
    return this.#sent.get(`${agent} ${streamId}`) ?? [];
  }

  staysOf(agent: string, streamId: number): readonly AskedStay[] {
    return [...(this.#stays.get(`${agent} ${streamId}`)?.values() ?? [])].sort((a, b) => a.joinMs - b.joinMs);
  }

  /** In sentences. */
  get leftOut(): readonly string[] {
    const sentences = [...this.#unlisted].map(
      ([agent, count]) => `${agent} heard ${count} membership messages more than are kept: they are not told.`,
    );
    if (this.#joinedBands > 0)
      sentences.push(`${this.#joinedBands} further breaks in the data are not told one by one.`);
    return sentences;
  }

  #leaveOut(agent: string, count: number): void {
    this.#unlisted.set(agent, (this.#unlisted.get(agent) ?? 0) + count);
  }

  #hear(said: Said): void {
    const own = this.#alike.get(said.agent);
    const key = keyOfSaid(said);
    const alike = own?.get(key);
    if (own === undefined) return;
    if (alike === undefined) {
      if (own.size >= MOST_KINDS) this.#leaveOut(said.agent, 1);
      else own.set(key, { head: [said], between: null, tail: [] });
      return;
    }
    if (alike.head.length < KEPT_ALIKE) {
      alike.head.push(said);
      return;
    }
    alike.tail.push(said);
    if (alike.tail.length <= KEPT_ALIKE) return;
    const moved = alike.tail.shift();
    if (moved === undefined) return;
    const { between } = alike;
    alike.between =
      between === null
        ? moved
        : {
            ...between,
            count: between.count + 1,
            lastMs: moved.atMs,
            longestGapMs: Math.max(between.longestGapMs, moved.atMs - between.lastMs),
          };
  }

  #stay(key: string, joinNs: number, leaveNs: number | null): void {
    const stays = this.#stays.get(key) ?? new Map<number, AskedStay>();
    this.#stays.set(key, stays);
    if (!stays.has(joinNs) && stays.size >= MOST_STAYS) return;
    stays.set(joinNs, { joinMs: joinNs / 1e6, leaveMs: leaveNs === null ? null : leaveNs / 1e6 });
  }

  #came(agent: string, streamId: number, firstNs: number, lastNs: number): void {
    const stream = this.#streams.get(streamId);
    if (stream === undefined) return;
    const quietMs = Math.max(QUIET_INTERVALS * stream.packetIntervalMs, QUIET_LEAST_MS);
    this.#add(this.#bands, `${agent} ${streamId}`, firstNs / 1e6, lastNs / 1e6, quietMs);
  }

  #add(all: Map<string, Band[]>, key: string, fromMs: number, toMs: number, quietMs: number): void {
    const bands = all.get(key) ?? [];
    all.set(key, bands);
    const last = bands.at(-1);
    if (last !== undefined && (fromMs - last.toMs <= quietMs || bands.length >= MOST_BANDS)) {
      if (fromMs - last.toMs > quietMs) this.#joinedBands++;
      bands.splice(-1, 1, { fromMs: last.fromMs, toMs: Math.max(last.toMs, toMs) });
    } else bands.push({ fromMs, toMs });
  }
}
