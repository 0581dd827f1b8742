import { appendFileSync, mkdirSync, readdirSync, readFileSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { parseAs } from "@dyetrace/wire";
import { type DeviceReading, DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";

const FOLDER = "run-readings";
/** What a run that nobody went on with has left. Our choice, no source. */
const KEPT_MS = 7 * 86_400_000;

/**
 * Readings of the runs that are under way, a line each in a file of the data folder: a controller that is started anew goes on with
 * the run, and has what was counted before it. A disk that takes nothing costs only that.
 */
export class KeptReadings {
  readonly #folder: string | null;

  /** @param folder null: nothing is kept */
  constructor(folder: string | null) {
    this.#folder = folder === null ? null : path.join(folder, FOLDER);
  }

  add(runId: string, readings: readonly DeviceReading[]): void {
    const file = this.#fileOf(runId);
    if (file === null || readings.length === 0) return;
    try {
      mkdirSync(path.dirname(file), { recursive: true, mode: 0o700 });
      appendFileSync(file, readings.map((reading) => `${JSON.stringify(reading)}\n`).join(""), { mode: 0o600 });
    } catch {
      // Without it a controller that is started anew does not know what was counted before.
    }
  }

  /** In the order in which they were taken; what cannot be read of them is left out. */
  of(runId: string): readonly DeviceReading[] {
    const file = this.#fileOf(runId);
    if (file === null) return [];
    try {
      return readFileSync(file, "utf8").split("\n").flatMap(readingOf);
    } catch {
      return [];
    }
  }

  /** Of a run that is over, and of whatever else is too old to be gone on with. */
  forget(runId: string): void {
    const [folder, file] = [this.#folder, this.#fileOf(runId)];
    if (folder === null || file === null) return;
    try {
      rmSync(file, { force: true });
      for (const name of readdirSync(folder)) {
        const other = path.join(folder, name);
        if (Date.now() - statSync(other).mtimeMs > KEPT_MS) rmSync(other, { force: true });
      }
    } catch {
      // There was none, or it stays until the next run ends.
    }
  }

  #fileOf(runId: string): string | null {
    return this.#folder === null || !/^[\w-]+$/.test(runId) ? null : path.join(this.#folder, `${runId}.jsonl`);
  }
}

/** A line that was cut as the power went is none. */
function readingOf(line: string): DeviceReading[] {
  try {
    return line === "" ? [] : [parseAs(DeviceReadingSchema, JSON.parse(line), "MESSAGE_INVALID", "A reading")];
  } catch {
    return [];
  }
}
