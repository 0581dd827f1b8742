import type { LiveCell, LiveFigures, LiveStrip } from "@dyetrace/wire/console/live-second";

/** Seconds of marks that are kept. */
export const KEPT_SECONDS = 180;
/** Seconds that may still be on their way before a blank counts as no news. */
export const ON_THE_WAY_S = 3;

export interface HistoryStrip {
  /** Second of the first mark. */
  readonly from: number;
  /** One letter a second (`LiveMark`); a blank where nothing was told. */
  readonly marks: string;
  readonly last: LiveFigures | null;
  /** A program of the host's own has joined; what came was followed at the network card. */
  readonly isOfHost: boolean;
}

/** What has been told of a run's seconds, by agent and stream. Changes in place: 2000 strips a second are too many to copy. */
export class LiveHistory {
  readonly #strips = new Map<string, HistoryStrip>();
  #latestSecond = -1;

  /** The newest second that any agent has told of; -1 before the first. */
  get latestSecond(): number {
    return this.#latestSecond;
  }

  load(strips: readonly LiveStrip[]): void {
    this.#strips.clear();
    this.#latestSecond = -1;
    for (const { agent, streamId, from, marks, last, isOfHost } of strips) {
      this.#strips.set(key(agent, streamId), { from, marks, last, isOfHost: isOfHost === true });
      this.#latestSecond = Math.max(this.#latestSecond, from + marks.length - 1);
    }
  }

  take({ agent, streamId, second, mark, figures, isOfHost }: LiveCell): void {
    const strip = this.#strips.get(key(agent, streamId)) ?? { from: second, marks: "" };
    const gap = second - strip.from - strip.marks.length;
    if (gap < 0) return; // told twice: the first telling stands
    const marks = `${strip.marks}${" ".repeat(Math.min(gap, KEPT_SECONDS))}${mark}`.slice(-KEPT_SECONDS);
    this.#strips.set(key(agent, streamId), {
      from: second - marks.length + 1,
      marks,
      last: figures,
      isOfHost: isOfHost === true,
    });
    this.#latestSecond = Math.max(this.#latestSecond, second);
  }

  /**
   * All seconds that could be told of, as long as they are kept: blank also where an agent began late or fell silent. The
   * newest may be on their way and are not counted as such.
   */
  allMarks(agent: string, streamId: number): string {
    const strip = this.strip(agent, streamId);
    const first = Math.max(0, this.#latestSecond - KEPT_SECONDS + 1);
    if (strip === null) return " ".repeat(this.#latestSecond - first + 1);
    const missing = this.#latestSecond - (strip.from + strip.marks.length - 1);
    const after = missing > ON_THE_WAY_S ? " ".repeat(Math.min(missing, KEPT_SECONDS)) : "";
    return `${" ".repeat(Math.max(0, strip.from - first))}${strip.marks}${after}`.slice(-KEPT_SECONDS);
  }

  strip(agent: string, streamId: number): HistoryStrip | null {
    return this.#strips.get(key(agent, streamId)) ?? null;
  }

  /** @returns a blank where nothing was told of that second */
  markAt(agent: string, streamId: number, second: number): string {
    const strip = this.#strips.get(key(agent, streamId));
    return strip?.marks[second - strip.from] ?? " ";
  }
}

const key = (agent: string, streamId: number): string => `${streamId} ${agent}`;
