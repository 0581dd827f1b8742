import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";

/** A reading of a large switch is a few megabytes. */
const MOST_KEPT = 256;

/** What each device said last when all of it was read, as long as this controller lives; the oldest go where there are too many. */
export class LastReadings {
  readonly #byNode = new Map<string, DeviceReading>();

  keep(reading: DeviceReading): void {
    this.#byNode.delete(reading.node);
    this.#byNode.set(reading.node, reading);
    const [oldest] = this.#byNode.keys();
    if (this.#byNode.size > MOST_KEPT && oldest !== undefined) this.#byNode.delete(oldest);
  }

  get(node: string): DeviceReading | null {
    return this.#byNode.get(node) ?? null;
  }

  forget(node: string): void {
    this.#byNode.delete(node);
  }

  /** In the order of their readings. */
  all(): readonly DeviceReading[] {
    return [...this.#byNode.values()];
  }
}
