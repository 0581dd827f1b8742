import { byDesignReach, type SiteGraph } from "@dyetrace/site";
import {
  type AgentMessage,
  COMPANION_PACKETS_PER_SECOND,
  formatCount,
  type IntervalReport,
  type WatcherReport,
} from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";

/** Watches a run while it goes on. Each call returns why the run must stop now, in one sentence, or null. */
export interface RunGuard {
  onReport(agent: string, message: ReportMessage): string | null;
  /** @param atNs after the run's start @param mayOutlast a run whose sources may go on for long without a controller */
  onGone(agent: string, atNs: number, mayOutlast: boolean): string | null;
}

type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;

/** Frames of one stream at one host outside its reach that are too many (common practice, no source). */
const LEAK_FRAMES = 5;
/** A switch floods a group until it has learned it, and a leave takes effect after 2 s (RFC 3376 8.8): no leak yet. */
const SETTLING_NS = 3e9;
/** Share of an interval's packets that a host may fail to send, or to take in, before its figures mean nothing. */
const OVERLOAD_RATIO = 0.02;
const OVERLOAD_PACKETS = 5;
/** Agents lost this soon after the start were lost because of it, if they are several (common practice, no source). */
const RIGHT_AFTER_NS = 15e9;
const SEVERAL = 2;
/** Share of a companion's packets that may fail, and for how many intervals in a row more may. */
const COMPANION_LOSS_RATIO = 0.2;
const COMPANION_INTERVALS = 2;

/**
 * Stops a run on a live site when it does harm or can no longer be controlled: on frames that reach hosts outside the
 * stream's reach, on an agent that is lost, on a host that cannot keep up.
 */
export class SafetyGuard implements RunGuard {
  readonly #run: CompiledRun;
  /** By stream id: agents that may rightly see its frames. */
  readonly #reach: ReadonlyMap<number, ReadonlySet<string>>;
  /** By stream id: when frames outside the reach count. */
  readonly #countedFromNs: ReadonlyMap<number, number>;
  readonly #leaked = new Map<string, number>();
  readonly #vanished = new Set<string>();
  /** By stream id of a companion: intervals in a row in which it had not all that it should have. */
  readonly #suffering = new Map<number, number>();

  constructor(run: CompiledRun, graph: SiteGraph) {
    this.#run = run;
    this.#reach = new Map(run.streams.map((stream) => [stream.streamId, reachOf(run, graph, stream)]));
    this.#countedFromNs = new Map(
      run.streams.map((stream) => {
        const emit = run.scenario.timeline.find((action) => action.kind === "emit" && action.stream === stream.name);
        return [stream.streamId, (emit?.atNs ?? 0) + SETTLING_NS];
      }),
    );
  }

  onReport(agent: string, { report, watch }: ReportMessage): string | null {
    return this.#leak(agent, report, watch) ?? this.#companionHarm(report) ?? overload(agent, report);
  }

  onGone(agent: string, atNs: number, mayOutlast: boolean): string | null {
    if (atNs <= RIGHT_AFTER_NS) this.#vanished.add(agent);
    if (this.#vanished.size >= SEVERAL && atNs <= RIGHT_AFTER_NS) {
      return `${[...this.#vanished].join(" and ")} vanished within ${Math.ceil(atNs / 1e9)} s of the start: the traffic may have taken the network down`;
    }
    if (mayOutlast) return null; // it is meant to go on without one of them
    return `The agent ${agent} was lost, so the run is no longer under control there`;
  }

  #leak(agent: string, report: IntervalReport, watch: WatcherReport | null): string | null {
    if (this.#run.scenario.expect.leaks === "any") return null;
    for (const { streamId, frames, lastNs } of watch?.streams ?? []) {
      if (frames === 0 || !this.#reach.has(streamId) || this.#reach.get(streamId)?.has(agent) === true) continue;
      const isSettling = report.fromNs < (this.#countedFromNs.get(streamId) ?? 0);
      if (isSettling || lastNs === null) continue;
      const key = `${agent} ${streamId}`;
      const leaked = (this.#leaked.get(key) ?? 0) + frames;
      this.#leaked.set(key, leaked);
      if (leaked < LEAK_FRAMES) continue;
      const stream = this.#run.streams.find((candidate) => candidate.streamId === streamId);
      return `${formatCount(leaked)} frames of ${stream?.name} reached ${agent}, which has not joined it and lies outside its reach`;
    }
    return null;
  }

  /** Unicast that came and now is lost: the run does harm, or cannot tell what it measures. */
  #companionHarm(report: IntervalReport): string | null {
    for (const { streamId, receipt } of report.listeners) {
      const companion = this.#run.companions.find(({ stream }) => stream.streamId === streamId);
      if (companion === undefined || receipt === null) continue;
      const came = this.#suffering.has(streamId) || receipt.received > 0;
      const wanted = ((report.toNs - report.fromNs) / 1e9) * COMPANION_PACKETS_PER_SECOND;
      const isPoor = receipt.lost > COMPANION_LOSS_RATIO * wanted || receipt.received === 0;
      const inARow = isPoor ? (this.#suffering.get(streamId) ?? 0) + 1 : 0;
      if (came) this.#suffering.set(streamId, inARow);
      if (inARow >= COMPANION_INTERVALS && came && !this.#isOver(companion.of, report.fromNs)) {
        return `Unicast from ${companion.stream.source} to ${companion.listener} suffers: its companion lost packets for ${inARow} s`;
      }
    }
    return null;
  }

  #isOver(stream: string, atNs: number): boolean {
    const stop = this.#run.scenario.timeline.findLast((action) => action.kind === "stop" && action.stream === stream);
    return stop !== undefined && atNs + COMPANION_INTERVALS * 1e9 > stop.atNs;
  }
}

function overload(agent: string, report: IntervalReport): string | null {
  for (const { sentPackets, skippedPackets, sendErrors } of report.senders) {
    const failed = skippedPackets + sendErrors.enobufs + sendErrors.eagain + sendErrors.other;
    if (failed >= OVERLOAD_PACKETS && failed > OVERLOAD_RATIO * (sentPackets + failed)) {
      return `${agent} cannot keep up with sending: ${formatCount(failed)} packets did not leave within a second`;
    }
  }
  for (const { receipt } of report.listeners) {
    const dropped = receipt?.hostDrops ?? 0;
    if (dropped >= OVERLOAD_PACKETS && dropped > OVERLOAD_RATIO * ((receipt?.received ?? 0) + dropped)) {
      return `${agent} cannot keep up with listening: it dropped ${formatCount(dropped)} packets within a second`;
    }
  }
  return null;
}

/** Agents to which a stream's frames may rightly come: the source, whoever joins its group at any time, and those on the way. */
function reachOf(run: CompiledRun, graph: SiteGraph, stream: CompiledRun["streams"][number]): ReadonlySet<string> {
  const hostOf = new Map(
    [...graph.nodes.values()].flatMap(({ agent, name }) => (agent === null ? [] : [[agent, name]])),
  );
  const sameGroup = new Set(run.streams.filter(({ group }) => group === stream.group).map(({ name }) => name));
  const members = run.joins
    .filter((join) => sameGroup.has(join.stream))
    .flatMap((join) => hostOf.get(join.agent) ?? []);
  const { nodes } = byDesignReach(graph, stream.sourceHost, members);
  return new Set([...hostOf].flatMap(([agent, host]) => (nodes.has(host) ? [agent] : [])));
}
