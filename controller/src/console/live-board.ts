import { byDesignReach, hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { IntervalReport, ListenerInterval, MembershipEvent, RunOutline, WatcherReport } from "@dyetrace/wire";
import type { LiveCell, LiveFigures, LiveHeard, LiveSeries, LiveStrip } from "@dyetrace/wire/console/live-second";
import { FigureRing } from "./figure-ring.ts";
import { figuresOf, sumOfStays } from "./live-figures.ts";
import { liveMark } from "./live-mark.ts";
import { askedFor, cameUnasked, isOfHost, isSilentOfOthers, toldOfOthers } from "./told-of-others.ts";

/** Seconds of marks kept for a console that comes later. */
const KEPT_SECONDS = 180;
/** Membership messages kept for a console that comes later. */
const KEPT_HEARD = 1000;
/** A run's first report also tells of minutes before the run; no more of them than this is shown. */
const BEFORE_MS = 5000;
/** One query is heard by many; hearings this close together are of the same one. */
const SAME_QUERY_MS = 250;
const REPORT_MS = 1000;

interface Strip {
  from: number;
  marks: string;
  last: LiveFigures | null;
  isOfHost: boolean;
  readonly figures: FigureRing;
}

/**
 * One run second by second, as its agents report it. Bounded: older seconds are forgotten. It draws no conclusion; that
 * is the report's work.
 */
export class LiveBoard {
  readonly #outline: RunOutline;
  readonly #hostOf: (agent: string) => string;
  readonly #reachOf: ReadonlyMap<number, ReadonlySet<string>>;
  readonly #joiners: ReadonlySet<string>;
  readonly #addresses: ReadonlySet<string>;
  readonly #groups: ReadonlySet<string>;
  /** Agents that said that they are in a group, as `agent group`. */
  readonly #members = new Set<string>();
  readonly #strips = new Map<string, Strip>();
  readonly #heard: LiveHeard[] = [];
  #newCells: LiveCell[] = [];
  #newHeard: LiveHeard[] = [];

  /** @param addresses of all agents: what they say is told by themselves */
  constructor(outline: RunOutline, graph: SiteGraph, addresses: ReadonlySet<string>) {
    this.#outline = outline;
    this.#addresses = addresses;
    this.#groups = new Set(outline.streams.map(({ group }) => group));
    this.#hostOf = (agent) => hostOfAgent(graph, agent) ?? agent;
    this.#joiners = new Set(outline.joins.map((join) => `${join.agent} ${join.stream}`));
    this.#reachOf = new Map(
      outline.streams.map((stream) => {
        const alike = new Set(outline.streams.filter(({ group }) => group === stream.group).map(({ name }) => name));
        const members = outline.joins.filter((join) => alike.has(join.stream)).map((join) => this.#hostOf(join.agent));
        return [stream.streamId, byDesignReach(graph, this.#hostOf(stream.source), members).nodes];
      }),
    );
  }

  take(agent: string, report: IntervalReport, watch: WatcherReport | null): void {
    const second = Math.round(report.fromNs / 1e6 / REPORT_MS);
    // A shorter interval is the rest at a run's end. A longer one was merged while the controller was away: what came in
    // which of its seconds is no longer known, and stays blank.
    const lengthNs = report.toNs - report.fromNs;
    if (lengthNs >= 0.5e9 && lengthNs <= 1.5e9) {
      const staysOf = new Map<number, ListenerInterval[]>();
      for (const one of askedFor(report.listeners)) {
        const stays = staysOf.get(one.streamId);
        if (stays === undefined) staysOf.set(one.streamId, [one]);
        else stays.push(one);
      }
      const watchedOf = new Map(watch?.streams.map((one) => [one.streamId, one]));
      for (const stream of this.#outline.streams) {
        if (stream.source === agent) continue;
        const asTold = staysOf.get(stream.streamId) ?? [];
        const about = {
          agent,
          streamId: stream.streamId,
          second,
          ...(isOfHost(asTold) ? { isOfHost: true as const } : {}),
        };
        const stays = toldOfOthers(asTold);
        if (stays === null) {
          this.#put({ ...about, mark: "n", figures: null });
          continue;
        }
        const watched = watchedOf.get(stream.streamId);
        if (stays.length === 0 && !this.#joiners.has(`${agent} ${stream.name}`) && watched === undefined) continue;
        this.#put({
          ...about,
          mark: liveMark({
            fromMs: report.fromNs / 1e6,
            toMs: report.toNs / 1e6,
            joinedFromMs: joinedFromMs(stays, report),
            received: sumOfStays(stays, (receipt) => receipt.received) ?? 0,
            lost: sumOfStays(stays, (receipt) => receipt.lost) ?? 0,
            emits: stream.emits,
            frames:
              watched === undefined || watch?.sinceNs === null
                ? null
                : watched.frames + cameUnasked(report.listeners, stream.streamId),
            isReachedByDesign: this.#reachOf.get(stream.streamId)?.has(this.#hostOf(agent)) === true,
          }),
          figures: isSilentOfOthers(stays) ? null : figuresOf(stays, report),
        });
      }
    }
    for (const event of watch?.membership ?? []) this.#hear(agent, event);
  }

  /** What came in since the last call. */
  drain(): { readonly cells: readonly LiveCell[]; readonly heard: readonly LiveHeard[] } {
    const cells = this.#newCells;
    const heard = this.#newHeard;
    this.#newCells = [];
    this.#newHeard = [];
    return { cells, heard };
  }

  strips(): readonly LiveStrip[] {
    return [...this.#strips].map(([key, { from, marks, last, isOfHost: ofHost }]) => {
      const at = key.indexOf(" ");
      const strip = { agent: key.slice(at + 1), streamId: Number(key.slice(0, at)), from, marks, last };
      return ofHost ? { ...strip, isOfHost: true } : strip;
    });
  }

  /** The figures of the seconds whose marks are kept; null where the agent or stream is none of this run's. */
  series(agent: string, streamId: number): LiveSeries | null {
    const strip = this.#strips.get(`${streamId} ${agent}`);
    if (strip === undefined) return null;
    const figures = Array.from(strip.marks, (_, index) => strip.figures.get(strip.from + index));
    return { from: strip.from, figures };
  }

  heard(): readonly LiveHeard[] {
    return this.#heard;
  }

  #put(cell: LiveCell): void {
    this.#newCells.push(cell);
    const key = `${cell.streamId} ${cell.agent}`;
    const strip = this.#strips.get(key) ?? {
      from: cell.second,
      marks: "",
      last: null,
      isOfHost: false,
      figures: new FigureRing(KEPT_SECONDS),
    };
    const gap = cell.second - strip.from - strip.marks.length;
    if (gap < 0) return; // told twice: the first telling stands
    strip.marks = `${strip.marks}${" ".repeat(Math.min(gap, KEPT_SECONDS))}${cell.mark}`;
    const over = strip.marks.length - KEPT_SECONDS;
    strip.marks = strip.marks.slice(Math.max(0, over));
    strip.from = cell.second - strip.marks.length + 1;
    strip.last = cell.figures;
    strip.isOfHost = cell.isOfHost === true;
    strip.figures.put(cell.second, cell.figures);
    this.#strips.set(key, strip);
  }

  /** About this run's groups, and no repetition: a host sends each change of state more than once (RFC 3376 8.1). */
  #isWorthTelling(one: LiveHeard): boolean {
    if (one.group !== null && !this.#groups.has(one.group)) return false;
    if (one.what === "query") return !this.#heard.some((other) => isSameQuery(one, other));
    if (!one.isOwn || one.what === "report") return true;
    const key = `${one.agent} ${one.group}`;
    const isMember = this.#members.has(key);
    if (one.what === "join") this.#members.add(key);
    else this.#members.delete(key);
    return isMember === (one.what === "leave");
  }

  #hear(agent: string, { atNs, direction, message }: MembershipEvent): void {
    if (message.kind === "pim-hello" || message.kind === "malformed" || atNs < -BEFORE_MS * 1e6) return;
    if (direction === "in" && this.#addresses.has(message.source)) return;
    const version = `${message.protocol === "igmp" ? "IGMPv" : "MLDv"}${message.version}`;
    const base = { agent, atMs: atNs / 1e6, isOwn: direction === "out", version, from: message.source };
    const heard: LiveHeard[] =
      message.kind === "report"
        ? message.records.flatMap((record) => {
            const what = WHAT_A_RECORD_SAYS[record.type];
            if (what === null) return [];
            const leaves = what === "join" && record.type === "TO_IN" && record.sources.length === 0;
            return [{ ...base, what: leaves ? "leave" : what, group: record.group }];
          })
        : [{ ...base, what: message.kind, group: message.group }];
    const fresh = heard.filter((one) => this.#isWorthTelling(one));
    for (const one of fresh) {
      this.#newHeard.push(one);
      this.#heard.push(one);
    }
    if (this.#heard.length > KEPT_HEARD) this.#heard.splice(0, this.#heard.length - KEPT_HEARD);
  }
}

const isSameQuery = (one: LiveHeard, other: LiveHeard): boolean =>
  other.what === "query" &&
  other.from === one.from &&
  other.group === one.group &&
  Math.abs(other.atMs - one.atMs) < SAME_QUERY_MS;

/** RFC 3376 4.2.12 and 5.1: state-change records announce a join or a leave, current-state records answer a query. */
const WHAT_A_RECORD_SAYS = {
  IS_IN: "report",
  IS_EX: "report",
  TO_IN: "join",
  TO_EX: "join",
  ALLOW: "join",
  BLOCK: "leave",
  unknown: null,
} as const;

function joinedFromMs(stays: readonly ListenerInterval[], report: IntervalReport): number | null {
  const stay = stays
    .flatMap(({ memberships }) => memberships)
    .findLast(
      ({ joinRequestedNs, leaveRequestedNs }) =>
        joinRequestedNs < report.toNs && (leaveRequestedNs === null || leaveRequestedNs >= report.toNs),
    );
  return stay === undefined ? null : stay.joinRequestedNs / 1e6;
}
