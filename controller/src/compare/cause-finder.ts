import { type SharedCause, type SharedTrial, sharedCauses } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportStream } from "@dyetrace/wire";

/** A place that explains what some listeners of a stream have in common. */
export interface ListenersCause {
  readonly listeners: readonly string[];
  /** Segments and nodes, most likely first. */
  readonly places: readonly string[];
  /** Probability that the true cause is among them. */
  readonly confidence: number;
}

/** Asks `locate` where a change lies that some listeners of a stream show and others do not; in agents' names. */
export class CauseFinder {
  readonly #graph: SiteGraph;
  readonly #streams: ReadonlyMap<string, ReportStream>;
  readonly #ask: (trials: readonly SharedTrial[]) => SharedCause[];

  constructor(graph: SiteGraph, streams: readonly ReportStream[]) {
    this.#graph = graph;
    this.#streams = new Map(streams.map((stream) => [stream.name, stream]));
    this.#ask = sharedCauses(graph);
  }

  /** @returns the source's host; null for a stream that the report does not know */
  sourceOf(stream: string): string | null {
    const source = this.#streams.get(stream)?.source;
    return source === undefined ? null : this.hostOf(source);
  }

  hostOf(agent: string): string {
    return hostOfAgent(this.#graph, agent) ?? agent;
  }

  /** @returns the fewest places that explain it; none where no place fits */
  find(stream: string, hit: readonly string[], spared: readonly string[]): ListenersCause[] {
    const told = this.#streams.get(stream);
    if (told === undefined || hit.length === 0) return [];
    const causes = this.#ask([
      {
        stream,
        group: told.group,
        source: this.hostOf(told.source),
        // One stream alone: nothing else is known to pass that its joins could be told from.
        isSourceSpecific: false,
        hit: hit.map((agent) => this.hostOf(agent)),
        spared: spared.map((agent) => this.hostOf(agent)),
        isSilence: false,
      },
    ]);
    return causes.map(({ suspects, hosts, confidence }) => ({
      listeners: hit.filter((agent) => hosts.includes(this.hostOf(agent))),
      places: suspects,
      confidence,
    }));
  }
}
