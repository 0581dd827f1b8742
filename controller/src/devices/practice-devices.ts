import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { OpenSocket } from "./snmp/bounded-socket.ts";
import { readDevice } from "./snmp/read-device.ts";
import { type ReadingBounds, RUN_READING_BOUNDS } from "./snmp/reading-bounds.ts";
import type { ReadingKind } from "./tables/objects.ts";

/** The switches of a practice site that talk, with how they are reached: a socket there can't be handed to another thread. */
export interface PracticeDevices {
  readonly targets: readonly DeviceTarget[];
  readonly openSocket: OpenSocket;
}

/** Nobody paces our own switches. */
const AT_ONCE: ReadingBounds = { ...RUN_READING_BOUNDS, withinMs: 20_000, gapMs: 0 };

/** Reads them in this thread: they are ours, and tell no lies. */
export class PracticeDeviceReader implements AsyncDisposable {
  readonly #openSocket: OpenSocket;

  constructor({ openSocket }: Pick<PracticeDevices, "openSocket">) {
    this.#openSocket = openSocket;
  }

  read(target: DeviceTarget, kind: ReadingKind): Promise<DeviceReading> {
    return readDevice(target, kind, AT_ONCE, this.#openSocket);
  }

  async [Symbol.asyncDispose](): Promise<void> {}
}
