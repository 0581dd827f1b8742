import { byDesignReach, type SiteGraph } from "@dyetrace/site";
import type { AgentMessage, IntervalReport, WatcherReport } from "@dyetrace/wire";
import type { CompiledRun } from "./compile-scenario.ts";

/** Watches a run while it goes on. Each call returns why the run must stop now, in one sentence, or null. */
export interface RunGuard {
  onReport(agent: string, message: ReportMessage): string | null;
  onGone(agent: string): string | null;
}

type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;

/** Frames of one stream at one host outside its reach that are too many (common practice, no source). */
const LEAK_FRAMES = 5;
/** A switch floods a group until it has learned it, and a leave takes effect after 2 s (RFC 3376 8.8): no leak yet. */
const SETTLING_NS = 3e9;
/** Share of an interval's packets that a host may fail to send, or to take in, before its figures mean nothing. */
const OVERLOAD_RATIO = 0.02;
const OVERLOAD_PACKETS = 5;

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

  constructor(run: CompiledRun, graph: SiteGraph) {
    this.#run = run;
    this.#reach = new Map(run.streams.map((stream) => [stream.streamId, reachOf(run, graph, stream)]));
    this.#countedFromNs = new Map(
      run.streams.map((stream) => {
        const emit = run.scenario.timeline.find((deed) => deed.kind === "emit" && deed.stream === stream.name);
        return [stream.streamId, (emit?.atNs ?? 0) + SETTLING_NS];
      }),
    );
  }

  onReport(agent: string, { report, watch }: ReportMessage): string | null {
    return this.#leak(agent, report, watch) ?? overload(agent, report);
  }

  onGone(agent: string): string | null {
    return `The agent ${agent} was lost, so the run is no longer under control there`;
  }

  #leak(agent: string, report: IntervalReport, watch: WatcherReport | null): string | null {
    if (this.#run.scenario.expect.leaks === "any") return null;
    for (const { streamId, frames, lastNs } of watch?.streams ?? []) {
      if (frames === 0 || this.#reach.get(streamId)?.has(agent) === true) continue;
      const isSettling = report.fromNs < (this.#countedFromNs.get(streamId) ?? 0);
      if (isSettling || lastNs === null) continue;
      const key = `${agent} ${streamId}`;
      const leaked = (this.#leaked.get(key) ?? 0) + frames;
      this.#leaked.set(key, leaked);
      if (leaked < LEAK_FRAMES) continue;
      const stream = this.#run.streams.find((candidate) => candidate.streamId === streamId);
      return `${leaked} frames of ${stream?.name} reached ${agent}, which has not joined it and lies outside its reach`;
    }
    return null;
  }
}

function overload(agent: string, report: IntervalReport): string | null {
  for (const { sentPackets, skippedPackets, sendErrors } of report.senders) {
    const failed = skippedPackets + sendErrors.enobufs + sendErrors.eagain + sendErrors.other;
    if (failed >= OVERLOAD_PACKETS && failed > OVERLOAD_RATIO * (sentPackets + failed)) {
      return `${agent} cannot keep up with sending: ${failed} packets did not leave within a second`;
    }
  }
  for (const { receipt } of report.listeners) {
    const dropped = receipt?.hostDrops ?? 0;
    if (dropped >= OVERLOAD_PACKETS && dropped > OVERLOAD_RATIO * ((receipt?.received ?? 0) + dropped)) {
      return `${agent} cannot keep up with listening: it dropped ${dropped} packets within a second`;
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
