import { Fault, formatDurationNs } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { failureOf, type RunShelf } from "./keep-run.ts";
import type { LateWrites } from "./late-writes.ts";

/** The wall clock is looked at this often at least: a timer alone would not notice that it was set. */
const LOOK_MS = 5000;
/** Below this a clock is disciplined, above it was set, or the machine slept (common practice, no source). */
const STEP_MS = 60_000;
/** How long after its time a run may still begin, where its request does not say. */
export const START_WITHIN_MS: number = 15 * 60_000;
/** What may be mended by waiting: an agent comes back, another run ends. */
const PASSING: ReadonlySet<Fault["code"]> = new Set(["AGENT_MISSING", "RUN_BUSY"]);

/** The clocks of the controller's machine, ms. */
export interface ScheduleClocks {
  /** Since 1970. */
  readonly wall: () => number;
  /** Since whenever; goes on evenly. */
  readonly monotonic: () => number;
}

const OWN_CLOCKS: ScheduleClocks = { wall: Date.now, monotonic: () => performance.now() };

/** @param isTriedBefore it could not begin when it was tried */
export type Begin = (record: RunRecord, isTriedBefore: boolean) => undefined | Promise<"begun" | "not ours">;

interface Waiting {
  readonly record: RunRecord;
  readonly startMs: number;
  readonly latestMs: number;
  /** Why it could not begin when it was tried. */
  why: Fault | null;
  isBeginning: boolean;
}

/**
 * Runs that are to start at a later time, on the wall clock. They stand in the store, so a restarted controller knows of
 * them. Whoever agreed to a run agreed to its time: one that cannot begin then, or soon after, does not begin at all.
 */
export class RunSchedule implements Disposable {
  readonly #store: Store;
  readonly #late: LateWrites;
  readonly #start: Begin;
  readonly #log: Logger;
  readonly #clocks: ScheduleClocks;
  readonly #waiting = new Map<string, Waiting>();
  #seen: { readonly wall: number; readonly monotonic: number };
  #timer: NodeJS.Timeout | undefined;
  #takingUp: NodeJS.Timeout | undefined;

  /**
   * @param start begins a run that stands in the store, unless another controller does; may throw a `Fault`
   * @param clocks on a store of several controllers its own clock counts, so that all mean the same time
   */
  constructor(
    { store, late }: Pick<RunShelf, "store" | "late">,
    start: Begin,
    log: Logger,
    clocks: ScheduleClocks = OWN_CLOCKS,
  ) {
    this.#store = store;
    this.#late = late;
    this.#start = start;
    this.#log = log;
    this.#clocks = clocks;
    this.#seen = { wall: clocks.wall(), monotonic: clocks.monotonic() };
  }

  /** Takes up what was scheduled before. What should have begun meanwhile begins now, if that is soon enough. */
  async takeUp(): Promise<void> {
    const scheduled = (await this.#store.runs.unfinished()).filter(({ state }) => state === "scheduled");
    for (const record of scheduled) if (!this.#waiting.has(record.runId)) this.arm(record);
    const ids = new Set(scheduled.map(({ runId }) => runId));
    for (const runId of this.#waiting.keys()) if (!ids.has(runId)) this.#waiting.delete(runId); // begun or cancelled elsewhere
  }

  /** Of a store of several controllers: what is scheduled at the others is known here within seconds. */
  keepUp(): void {
    this.#takingUp = setInterval(() => {
      this.takeUp().catch((error: unknown) =>
        this.#log.error({ err: this.#store.fault(error) }, "which runs are scheduled could not be asked"),
      );
    }, LOOK_MS);
  }

  arm(record: RunRecord): void {
    const startMs = Date.parse(record.startAt ?? record.createdAt);
    const latestMs = startMs + (record.request.startWithinMs ?? START_WITHIN_MS);
    if (this.#waiting.size === 0) this.#seen = { wall: this.#clocks.wall(), monotonic: this.#clocks.monotonic() };
    this.#waiting.set(record.runId, { record, startMs, latestMs, why: null, isBeginning: false });
    this.#wait();
  }

  /** @returns false if it is not waiting here */
  cancel(runId: string): boolean {
    return this.#waiting.delete(runId);
  }

  /** Begins what is due, and gives up what is too late. */
  look(): void {
    const before = this.#seen;
    const now = { wall: this.#clocks.wall(), monotonic: this.#clocks.monotonic() };
    this.#seen = now;
    const expectedMs = before.wall + now.monotonic - before.monotonic;
    const stepMs = now.wall - expectedMs;
    const isStepped = Math.abs(stepMs) > STEP_MS;
    if (isStepped && this.#waiting.size > 0)
      this.#log.warn({ stepMs }, "the clock was set while runs wait for their time");
    for (const one of this.#waiting.values()) {
      if (one.startMs > now.wall || one.isBeginning) continue;
      if (isStepped && one.startMs > expectedMs) this.#giveUp(one, steppedOver(one, stepMs));
      else if (now.wall > one.latestMs) this.#giveUp(one, one.why ?? tooLate(one, now.wall));
      else this.#begin(one);
    }
    this.#wait();
  }

  #wait(): void {
    clearTimeout(this.#timer);
    if (this.#waiting.size === 0) return;
    const nowMs = this.#clocks.wall();
    let waitMs = LOOK_MS;
    // Tried again at the next look at the earliest.
    for (const { startMs, why, isBeginning } of this.#waiting.values()) {
      if (why === null && !isBeginning) waitMs = Math.min(waitMs, Math.max(0, startMs - nowMs));
    }
    this.#timer = setTimeout(() => this.look(), waitMs);
  }

  #begin(one: Waiting): void {
    const { runId } = one.record;
    const over = (): void => {
      if (this.#waiting.get(runId) === one) this.#waiting.delete(runId);
    };
    try {
      const begun = this.#start(one.record, one.why !== null);
      if (begun === undefined) {
        over();
        return;
      }
      one.isBeginning = true;
      begun.then(over, (error: unknown) => {
        one.isBeginning = false;
        this.#refused(one, error);
        this.#wait();
      });
    } catch (error) {
      this.#refused(one, error);
    }
  }

  #refused(one: Waiting, error: unknown): void {
    const isPassing = error instanceof Fault && (PASSING.has(error.code) || error.code.startsWith("STORE_"));
    if (!isPassing) {
      this.#giveUp(one, error);
      return;
    }
    if (one.why === null) this.#log.warn({ err: error, runId: one.record.runId }, "scheduled run waits to begin");
    one.why = error;
  }

  #giveUp({ record: { runId } }: Waiting, error: unknown): void {
    this.#waiting.delete(runId);
    this.#log.error({ err: error, runId }, "scheduled run did not start");
    // Only one that still waits: another controller may have begun it.
    void this.#late.write(runId, async () => {
      await this.#store.leases.cancel(runId, failureOf(error));
    });
  }

  [Symbol.dispose](): void {
    clearTimeout(this.#timer);
    clearInterval(this.#takingUp);
    this.#waiting.clear();
  }
}

const HINT = "See that the controller's machine is on and its clock is right then, and start the run again";

const tooLate = ({ startMs, latestMs }: Waiting, nowMs: number): Fault =>
  new Fault(
    "RUN_MISSED",
    `Its time passed ${formatDurationNs((nowMs - startMs) * 1e6)} before it could begin, and it may begin ${formatDurationNs((latestMs - startMs) * 1e6)} late at most`,
    HINT,
  );

const steppedOver = ({ startMs }: Waiting, stepMs: number): Fault =>
  new Fault(
    "RUN_MISSED",
    `The clock of the controller's machine went forward by ${formatDurationNs(stepMs * 1e6)} over the time of this run, ${new Date(startMs).toISOString()}: it was set, or the machine slept, and which time is right is not known`,
    HINT,
  );
