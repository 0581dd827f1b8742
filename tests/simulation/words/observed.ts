import { countRanges, intersectRanges, subtractRanges } from "@dyetrace/measure";
import { type LinkSegment, planPlace, type SiteGraph } from "@dyetrace/site";
import type {
  ListenerObservation,
  RunObservations,
  SeqRange,
  StreamObservation,
} from "../../../packages/locate/src/run/run-observations.ts";
import { sendTimeMs } from "../../../packages/locate/src/run/send-time.ts";
import { indexSite, type SiteIndex } from "../../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, sourceTree } from "../../../packages/locate/src/site/source-tree.ts";

const range = (one: SeqRange): SeqRange[] => (one[0] > one[1] ? [] : [one]);

/** What observations say, asked for by name: it shares the site's ways with the localiser and nothing of its reasoning. */
export class Observed {
  readonly graph: SiteGraph;
  readonly run: RunObservations;
  readonly #site: SiteIndex;

  constructor(graph: SiteGraph, run: RunObservations) {
    this.graph = graph;
    this.run = run;
    this.#site = indexSite(graph);
  }

  stream(name: string): StreamObservation {
    const found = this.run.streams.find(({ stream }) => stream === name);
    if (found === undefined) throw new RangeError(`No stream ${name}`);
    return found;
  }

  /** All entries of those who joined a stream, whether they reported or not. */
  listeners(stream: string): ListenerObservation[] {
    return this.run.listeners.filter((one) => one.stream === stream && one.host !== this.stream(stream).source);
  }

  /** Those who reported. */
  reported(stream: string): ListenerObservation[] {
    return this.listeners(stream).filter(({ state }) => state === "reported");
  }

  of(stream: string, host: string): ListenerObservation[] {
    return this.reported(stream).filter((one) => one.host === host);
  }

  /** Numbers that surely came. */
  got({ window, lost, receivedPackets }: ListenerObservation): SeqRange[] {
    return window === null || receivedPackets === 0 ? [] : subtractRanges([window], lost);
  }

  /** Packets that came of those sent in a time. */
  gotBetween(entry: ListenerObservation, fromMs: number, toMs: number): number {
    return countRanges(intersectRanges(this.got(entry), range(this.sentBetween(entry.stream, fromMs, toMs))));
  }

  intervalMs(stream: string): number {
    return Math.max(
      0,
      ...this.stream(stream).steps.map((s) => (s.endMs - s.startMs) / Math.max(1, s.lastSeq - s.firstSeq)),
    );
  }

  /** Numbers sent in a time; first over last where there is none. */
  sentBetween(stream: string, fromMs: number, toMs: number): SeqRange {
    const first = this.#firstSince(stream, fromMs, true);
    return [first, this.#firstSince(stream, toMs, false) - 1];
  }

  /** First number sent since an instant, or after it, by bisection. */
  #firstSince(stream: string, atMs: number, isIncluded: boolean): number {
    const { steps } = this.stream(stream);
    let [low, high] = [steps[0]?.firstSeq ?? 0, (steps.at(-1)?.lastSeq ?? -1) + 1];
    while (low < high) {
      const middle = (low + high) >>> 1;
      const sentMs = sendTimeMs(this.stream(stream), middle) ?? 0;
      if (sentMs > atMs || (isIncluded && sentMs === atMs)) high = middle;
      else low = middle + 1;
    }
    return low;
  }

  /** Segments from a stream's source to a host. */
  way(source: string, host: string): LinkSegment[] {
    const tree = sourceTree(this.#site, this.#site.nodeNumber.get(source) ?? -1);
    return nodesDownTo(tree, this.#site.nodeNumber.get(host) ?? -1).flatMap(
      (node) => this.#site.segments[tree.into[node] ?? -1] ?? [],
    );
  }

  /** Whether the way to a host crosses a place: a segment, or a node that it passes or ends at. */
  isBehind(stream: string, host: string, place: string): boolean {
    const { source } = this.stream(stream);
    return this.way(source, host).some(
      ({ id, to, from }) =>
        [id, planPlace(id), to.node, planPlace(to.node)].includes(place) || (from.node === place && place === source),
    );
  }

  /** The segment out of a port, as "core:1" names it. */
  outOf(port: string): LinkSegment | undefined {
    return [...this.graph.segments.values()].find(({ from }) => `${planPlace(from.node)}:${from.port}` === port);
  }

  isMember(stream: string, host: string, fromMs: number, toMs: number): boolean {
    const { group } = this.stream(stream);
    return this.run.listeners.some(
      (one) =>
        one.host === host &&
        this.stream(one.stream).group === group &&
        one.joinedFromMs < toMs &&
        (one.joinedToMs ?? Number.POSITIVE_INFINITY) > fromMs,
    );
  }
}
