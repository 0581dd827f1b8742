import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { AgentSurroundings } from "@dyetrace/wire/surroundings/surroundings-schema";

/** All that was seen of a site: what its agents hear and know of themselves, and what its switches say. */
export interface Observations {
  readonly hosts: readonly AgentSurroundings[];
  /** One of each device, the latest. */
  readonly readings: readonly DeviceReading[];
}

/** An agent tells at least this often what has not changed (30 s), and a message takes its time. */
const TOLD_EVERY_MS = 35_000;

/** What is still true: an announcement that was not repeated in its time is forgotten, as its receiver does (IEEE 802.1AB, 9.2.2). */
export function stillTrue({ hosts, readings }: Observations): Observations {
  const fresh = hosts.map((told): AgentSurroundings => {
    const { surroundings, toldAgoMs } = told;
    const announcements =
      surroundings.announcements?.filter(
        ({ agoMs, announcement }) => agoMs + toldAgoMs <= announcement.ttlS * 1000 + TOLD_EVERY_MS,
      ) ?? null;
    return { ...told, surroundings: { ...surroundings, announcements } };
  });
  return { hosts: fresh, readings };
}
