import type { StoryTable } from "@dyetrace/wire";
import { monotonicNs } from "../agents/monotonic-clock.ts";

/** One entry of a switch's group table as the kernel has it now. */
export interface TableEntry extends Omit<StoryTable, "readings" | "goneMs"> {
  /** Null: its entry has no timer. */
  readonly leftMs: number | null;
  /** How long before the reading was over that was so. */
  readonly agoMs: number;
}
/** @returns every switch's entries @throws where the site has gone */
export type ReadTables = () => Promise<readonly TableEntry[]>;

const LOOK_EVERY_MS = 500;
/** Looking takes a fifth of the time at most: a large site's switches are looked at less often. */
const SHARE_OF_TIME = 5;
/** Readings of one entry; with more, every second one goes. */
const MOST_READINGS = 600;
const MOST_ROWS = 2_000;

interface OpenRow {
  readonly row: Omit<StoryTable, "readings" | "goneMs">;
  readings: [number, number | null][];
  goneMs: number | null;
}

/** Looks at the group tables of a practice site's switches while a run goes on. */
export class TableWatch {
  readonly #read: ReadTables;
  readonly #groups: ReadonlySet<string>;
  readonly #startNs: number;
  readonly #rows: OpenRow[] = [];
  readonly #standing = new Map<string, OpenRow>();
  #timer: NodeJS.Timeout | undefined;
  #looking: Promise<void> = Promise.resolve();
  #isStopped = false;

  /** @param groups that are told of @param startNs the run's start on `monotonicNs` */
  constructor(read: ReadTables, groups: ReadonlySet<string>, startNs: number) {
    this.#read = read;
    this.#groups = groups;
    this.#startNs = startNs;
    this.#lookIn(0);
  }

  /** What was seen so far. */
  get rows(): readonly StoryTable[] {
    return this.#rows.map(({ row, readings, goneMs }) => ({ ...row, readings: [...readings], goneMs }));
  }

  /** After one more look. */
  async end(): Promise<readonly StoryTable[]> {
    this.stop();
    await this.#looking;
    await this.#look().catch(() => {});
    return this.rows;
  }

  stop(): void {
    this.#isStopped = true;
    clearTimeout(this.#timer);
  }

  #lookIn(waitMs: number): void {
    if (this.#isStopped) return;
    this.#timer = setTimeout(() => {
      const beganNs = monotonicNs();
      this.#looking = this.#look().then(
        () => {
          const tookMs = (monotonicNs() - beganNs) / 1e6;
          this.#lookIn(Math.max(LOOK_EVERY_MS - tookMs, (SHARE_OF_TIME - 1) * tookMs));
        },
        () => this.stop(), // the site has gone, and so will the run
      );
    }, waitMs);
    this.#timer.unref();
  }

  async #look(): Promise<void> {
    const entries = await this.#read();
    this.#take((monotonicNs() - this.#startNs) / 1e6, entries);
  }

  #take(nowMs: number, entries: readonly TableEntry[]): void {
    const gone = new Map(this.#standing);
    for (const { leftMs, agoMs, ...row } of entries) {
      if (!this.#groups.has(row.group)) continue;
      const atMs = nowMs - agoMs;
      const key = `${row.node} ${row.port} ${row.vlan} ${row.group}`;
      gone.delete(key);
      const standing = this.#standing.get(key);
      if (standing !== undefined) {
        standing.readings.push([atMs, leftMs]);
        if (standing.readings.length > MOST_READINGS)
          standing.readings = standing.readings.filter((_, index) => index % 2 === 0);
      } else if (this.#rows.length < MOST_ROWS) {
        const fresh: OpenRow = { row, readings: [[atMs, leftMs]], goneMs: null };
        this.#rows.push(fresh);
        this.#standing.set(key, fresh);
      }
    }
    for (const [key, row] of gone) {
      row.goneMs = nowMs;
      this.#standing.delete(key);
    }
  }
}
