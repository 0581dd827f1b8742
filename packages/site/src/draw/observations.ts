import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { AgentSurroundings } from "@dyetrace/wire/surroundings/surroundings-schema";

/** All that was seen of a site: what its agents hear and know of themselves, and what its switches say. */
export interface Observations {
  readonly hosts: readonly AgentSurroundings[];
  /** One of each device, the latest. */
  readonly readings: readonly DeviceReading[];
}
