import { Worker } from "node:worker_threads";
import { parseAs } from "@dyetrace/wire";
import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import { DEVICE_PARTS, type DeviceReading, DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import type { DeviceQuestion } from "./snmp/device-question.ts";
import { READING_BOUNDS, type ReadingBounds } from "./snmp/reading-bounds.ts";
import type { ReadingKind } from "./tables/objects.ts";

/** Devices that are read at the same time. */
const MOST_AT_ONCE = 8;
/** Beyond a reading's own time: the thread's start, and what it makes of the answers. */
const GRACE_MS = 5_000;
/** The thread's heap, MB: the largest tables that a reading takes need 60. */
const MOST_HEAP_MB = 192;

/**
 * Reads devices, each in a thread of its own that ends with the reading: what a device sends is taken apart by a library of others,
 * and whatever that makes of it, neither this program's time nor its memory hangs on it. What no device can do is make it fail.
 */
export class DeviceReader implements AsyncDisposable {
  readonly #bounds: ReadingBounds;
  readonly #script: URL;
  readonly #threads = new Set<Worker>();
  readonly #waiting: (() => void)[] = [];
  #running = 0;
  #isClosed = false;

  constructor(
    bounds: ReadingBounds = READING_BOUNDS,
    // As it was built, also where this file is read as it was written: a thread takes no TypeScript.
    script: URL = new URL("../../dist/devices/snmp/read-device-worker.js", import.meta.url),
  ) {
    this.#bounds = bounds;
    this.#script = script;
  }

  async read(target: DeviceTarget, kind: ReadingKind, bounds: ReadingBounds = this.#bounds): Promise<DeviceReading> {
    if (this.#running >= MOST_AT_ONCE) await new Promise<void>((resolve) => this.#waiting.push(resolve));
    this.#running++;
    try {
      return await this.#readIn({ target, kind, bounds });
    } finally {
      this.#running--;
      this.#waiting.shift()?.();
    }
  }

  async [Symbol.asyncDispose](): Promise<void> {
    this.#isClosed = true;
    await Promise.all([...this.#threads].map((thread) => thread.terminate()));
  }

  #readIn(question: DeviceQuestion): Promise<DeviceReading> {
    const { target, bounds } = question;
    if (this.#isClosed) return Promise.resolve(unreadable(target, "the controller is ending"));
    const thread = new Worker(this.#script, {
      workerData: question,
      resourceLimits: { maxOldGenerationSizeMb: MOST_HEAP_MB },
      stdout: false,
      env: {},
    });
    this.#threads.add(thread);
    return new Promise((resolve) => {
      const end = (reading: DeviceReading): void => {
        clearTimeout(deadline);
        this.#threads.delete(thread);
        void thread.terminate();
        resolve(reading);
      };
      const late = "it took longer than one reading may";
      const deadline = setTimeout(() => end(unreadable(target, late)), bounds.withinMs + GRACE_MS);
      thread.once("message", (told: unknown) => end(checked(target, told)));
      // The error itself goes nowhere: a library's may carry the password.
      thread.once("error", (error: unknown) => end(unreadable(target, wordsOf(error))));
      thread.once("exit", () => end(unreadable(target, "the reading was ended")));
    });
  }
}

function checked(target: DeviceTarget, told: unknown): DeviceReading {
  try {
    return parseAs(DeviceReadingSchema, told, "MESSAGE_INVALID", "A reading");
  } catch {
    return unreadable(target, "what it said does not fit into a reading");
  }
}

const wordsOf = (error: unknown): string =>
  error instanceof Error && "code" in error && error.code === "ERR_WORKER_OUT_OF_MEMORY"
    ? "what it said takes more memory than there is for it"
    : "its answers could not be taken apart";

/** @param why the end of a sentence */
export function unreadable({ node, address, access }: DeviceTarget, why: string): DeviceReading {
  const by = access.version === "3" ? "snmp-v3" : "snmp-v2c";
  const unread = DEVICE_PARTS.map((part) => ({ part, isCut: false, why: `${node} could not be read: ${why}.` }));
  return { ...blankReading({ node, readAt: new Date().toISOString(), by, address }), unread };
}
