import { mergeSequenceRanges, type SequenceRange, unbrokenWatchNs } from "@dyetrace/measure";
import type { WatchedStream, WatcherReport } from "@dyetrace/wire";
import { getOrAdd } from "./get-or-add.ts";

/** Frames of one stream at one host's network card over the whole run, joined or not. */
export interface SeenFrames {
  readonly frames: number;
  readonly asUnicastFrames: number;
  readonly foreignFrames: number;
  readonly ranges: readonly SequenceRange[];
  /** The same, interval by interval; only those in which frames came. */
  readonly parts: readonly SeenPart[];
}

export interface SeenPart {
  readonly frames: number;
  readonly asUnicastFrames: number;
  readonly ranges: readonly SequenceRange[];
  readonly firstNs: number;
  readonly lastNs: number;
}

const NO_FRAMES: SeenFrames = { frames: 0, asUnicastFrames: 0, foreignFrames: 0, ranges: [], parts: [] };

/** What one host's watcher saw, stream by stream. */
export class Watch {
  /** False: it can't watch, told nothing, or its interface was down for a time, so that what it saw is not the whole. */
  readonly isUnbroken: boolean;
  /** Frames that the kernel could not hand to the watcher: its counts are then lower bounds. */
  readonly dropped: number;
  /** Frames whose numbers found no room in a report, and membership messages: what was seen of both is not all. */
  readonly unlistedFrames: number;
  readonly unlistedMembership: number;
  /** Frames of the run's streams that came with a VLAN tag which this interface is no member of. */
  readonly taggedFrames: number;
  readonly #frames: ReadonlyMap<number, SeenFrames>;

  constructor(reports: readonly WatcherReport[]) {
    this.isUnbroken = unbrokenWatchNs(reports) !== null;
    this.dropped = reports.reduce((sum, report) => sum + report.dropped, 0);
    this.unlistedMembership = reports.reduce((sum, report) => sum + report.unlistedMembership, 0);
    const all = reports.flatMap(({ streams }) => streams);
    this.unlistedFrames = all.reduce((sum, { unlistedFrames }) => sum + unlistedFrames, 0);
    this.taggedFrames = all.reduce((sum, { taggedFrames }) => sum + taggedFrames, 0);
    const partsOf = new Map<number, WatchedStream[]>();
    for (const { streams } of reports) {
      for (const stream of streams) getOrAdd(partsOf, stream.streamId, () => []).push(stream);
    }
    this.#frames = new Map([...partsOf].map(([streamId, parts]) => [streamId, together(parts)]));
  }

  /** @returns null unless the watch is unbroken */
  framesOf(streamId: number): SeenFrames | null {
    return this.isUnbroken ? (this.#frames.get(streamId) ?? NO_FRAMES) : null;
  }
}

const together = (parts: readonly WatchedStream[]): SeenFrames => ({
  frames: parts.reduce((sum, part) => sum + part.frames, 0),
  asUnicastFrames: parts.reduce((sum, part) => sum + part.asUnicastFrames, 0),
  foreignFrames: parts.reduce((sum, part) => sum + part.foreignFrames, 0),
  ranges: mergeSequenceRanges(parts.flatMap((part) => part.ranges)),
  parts: parts.flatMap(timed),
});

const timed = ({ frames, asUnicastFrames, ranges, firstNs, lastNs }: WatchedStream): SeenPart[] =>
  firstNs === null || lastNs === null ? [] : [{ frames, asUnicastFrames, ranges, firstNs, lastNs }];
