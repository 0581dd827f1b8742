import { setTimeout as sleep } from "node:timers/promises";
import type { SiteGraph } from "@dyetrace/site";
import { describeFault, Fault, type RunProgress } from "@dyetrace/wire";
import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { DeviceDesk } from "./device-desk.ts";
import { type DeviceEvidence, type DeviceReadings, deviceEvidence, type RunTimes } from "./evidence/device-evidence.ts";
import { runTargets } from "./run-targets.ts";

/** Between the two readings before a run, which show what passes while nothing is sent. Our choice, no source. */
const QUIET_MS = 2_000;
/** From one reading during a run to the next; longer where a reading takes long, and in long runs. */
const EVERY_MS = 3_000;
const SHARE_OF_TIME = 5;
/** Readings of a run that are kept of each device; with more, every second one goes, and they are taken half as often. */
const MOST_READINGS = 60;

/**
 * Reads the devices of a site before, during and after a run. Whatever they do, the run goes on: it waits for them before it begins
 * and after it has ended, each time as long as a reading may take.
 */
export class RunDevices implements Disposable {
  readonly #desk: DeviceDesk;
  readonly #targets: readonly DeviceTarget[];
  readonly #readings = new Map<string, DeviceReading[]>();
  readonly #runId: string;
  readonly #nodes: ReadonlySet<string>;
  readonly #sinceMs: number;
  readonly #say: (progress: RunProgress) => void;
  readonly #ended = new AbortController();
  #everyMs = EVERY_MS;
  #watching: Promise<void> = Promise.resolve();

  private constructor(
    desk: DeviceDesk,
    graph: SiteGraph,
    runId: string,
    sinceMs: number,
    say: (progress: RunProgress) => void,
  ) {
    this.#desk = desk;
    this.#nodes = new Set([...graph.nodes.values()].flatMap(({ name, kind }) => (kind === "host" ? [] : [name])));
    this.#targets = runTargets(desk, this.#nodes, say);
    this.#runId = runId;
    this.#sinceMs = sinceMs;
    this.#say = say;
  }

  /**
   * Reads twice, or once more where they were read whole a while ago and nothing was sent since; then from time to time until the end.
   * @param desk absent: there are none to read @param earlier such readings @param everyMs between two readings meanwhile
   */
  static async begin(
    desk: DeviceDesk | undefined,
    graph: SiteGraph,
    runId: string,
    say: (progress: RunProgress) => void,
    earlier: readonly DeviceReading[] = [],
    everyMs: number = EVERY_MS,
  ): Promise<RunDevices | null> {
    if (desk === undefined) return null;
    const devices = new RunDevices(desk, graph, runId, Date.now(), say);
    devices.#everyMs = everyMs;
    const count = devices.#targets.length;
    if (count === 0) return devices;
    say({
      kind: "step",
      text: `Reading the counters of ${count === 1 ? "1 device" : `${count} devices`} before the run`,
    });
    if (earlier.length === 0) await devices.#read(true);
    else devices.#take(earlier);
    devices.#sayUnread();
    const lastMs = Math.max(...earlier.map(({ readAt, tookMs }) => Date.parse(readAt) + tookMs), 0);
    await sleep(earlier.length === 0 ? QUIET_MS : Math.max(0, Math.min(QUIET_MS, lastMs + QUIET_MS - Date.now())));
    await devices.#read(false);
    devices.#watching = devices.#watch();
    return devices;
  }

  /**
   * Goes on with a run that another controller began, or this one before it was started anew: with its readings where they were kept
   * here; without them nobody knows what ports had counted before.
   */
  static resume(
    desk: DeviceDesk | undefined,
    graph: SiteGraph,
    runId: string,
    startedAtMs: number,
    say: (progress: RunProgress) => void,
  ): RunDevices | null {
    if (desk === undefined) return null;
    const devices = new RunDevices(desk, graph, runId, startedAtMs, say);
    for (const reading of desk.kept.of(runId)) if (devices.#nodes.has(reading.node)) devices.#keep(reading);
    if (devices.#targets.length > 0) devices.#watching = devices.#watch();
    return devices;
  }

  /** Reads once more. @returns null where nothing is known of any device */
  async end(
    graph: SiteGraph,
    { startedAt, endedAt }: { readonly startedAt: Date; readonly endedAt: Date },
    groups: readonly string[],
    sending?: RunTimes["sending"],
  ): Promise<DeviceEvidence | null> {
    this.#ended.abort();
    await this.#watching;
    if (this.#targets.length > 0) await this.#read(false);
    for (const pasted of this.#pasted()) if (this.#nodes.has(pasted.node)) this.#keep(pasted);
    this.#desk.kept.forget(this.#runId);
    const all = [...this.#readings].map(([node, readings]): DeviceReadings => ({ node, readings: inOrder(readings) }));
    if (all.length === 0) return null;
    return deviceEvidence(all, graph, {
      startMs: startedAt.getTime(),
      endMs: endedAt.getTime(),
      groups,
      ...(sending === undefined ? {} : { sending }),
    });
  }

  [Symbol.dispose](): void {
    this.#ended.abort();
  }

  async #watch(): Promise<void> {
    const { signal } = this.#ended;
    for (let waitMs = this.#everyMs; ; ) {
      await sleep(waitMs, undefined, { signal }).catch(() => undefined);
      if (signal.aborted) return;
      const beganMs = performance.now();
      await this.#read(false);
      const tookMs = performance.now() - beganMs;
      waitMs = Math.max(this.#everyMs - tookMs, (SHARE_OF_TIME - 1) * tookMs);
    }
  }

  /** @param isFirst the audit log is told once of a run's readings */
  async #read(isFirst: boolean): Promise<void> {
    const asker = { who: `run ${this.#runId}`, from: "" };
    this.#take(await this.#desk.readThese(this.#targets, asker, isFirst));
  }

  #take(readings: readonly DeviceReading[]): void {
    for (const reading of readings) this.#keep(reading);
    this.#desk.kept.add(this.#runId, readings);
  }

  /** What somebody typed in is no reason for a run to fail. */
  #pasted(): readonly DeviceReading[] {
    try {
      return this.#desk.pastedSince(this.#sinceMs);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      this.#say({ kind: "step", text: `No pasted table is used: ${describeFault(error)}` });
      return [];
    }
  }

  #keep(reading: DeviceReading): void {
    const kept = this.#readings.get(reading.node) ?? [];
    kept.push(reading);
    this.#readings.set(reading.node, kept);
    if (kept.length <= MOST_READINGS) return;
    // The first two are those before the run.
    this.#readings.set(
      reading.node,
      kept.filter((_, index) => index < 2 || index % 2 === 0),
    );
    this.#everyMs = Math.min(600_000, 2 * this.#everyMs);
  }

  #sayUnread(): void {
    for (const [first] of this.#readings.values()) {
      const why = first?.unread[0]?.why;
      if (first?.ports === null && why !== undefined) this.#say({ kind: "step", text: why });
    }
  }
}

const inOrder = (readings: readonly DeviceReading[]): DeviceReading[] =>
  readings.toSorted((one, other) => Date.parse(one.readAt) - Date.parse(other.readAt));
