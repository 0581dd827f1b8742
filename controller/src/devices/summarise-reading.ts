import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";

/** ifType (IANAifType-MIB): 6 is Ethernet, by whatever medium; 161 several lines as one. */
const NETWORK_TYPES: ReadonlySet<number | null> = new Set([6, 161]);

/** A reading in the figures by which somebody chooses which device to look at. */
export function summariseReading({
  node,
  readAt,
  by,
  ports,
  neighbours,
  groups,
  unread,
}: DeviceReading): ReadingSummary {
  const network = ports?.filter(({ type }) => type === null || NETWORK_TYPES.has(type)) ?? null;
  const count = (isOne: (port: DevicePort) => boolean): number | null => network?.filter(isOne).length ?? null;
  return {
    ...{ node, readAt, by },
    ports: network?.length ?? null,
    down: count(({ up, enabled }) => up === false && enabled !== false),
    faulty: count(({ counters: { inErrors, outDiscards } }) => (inErrors ?? 0) + (outDiscards ?? 0) > 0),
    half: count(({ duplex, up }) => duplex === "half" && up !== false),
    neighbours: neighbours?.length ?? null,
    groups: groups?.length ?? null,
    // Of a table that somebody pasted, everything else is unknown as a matter of course.
    unread: by === "pasted" ? null : (unread[0]?.why ?? null),
  };
}
