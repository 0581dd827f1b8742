import type { Capability } from "@dyetrace/wire/devices/capability";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { NodeKind } from "../model/site-model.ts";
import { DrawnDevice } from "./drawn-device.ts";
import type { Observations } from "./observations.ts";
import type { PlanNames } from "./plan-names.ts";

/** What somebody announced of itself, whoever heard it. */
export interface Announcer {
  readonly chassis: string;
  readonly portId: string;
  readonly portDescription: string | null;
  readonly systemName: string | null;
  readonly capabilities: readonly Capability[] | null;
  readonly addresses: readonly string[];
}

/** The devices of a site by the identity that they announce, or by the name under which they were read. */
export class KnownDevices {
  readonly #devices: readonly DrawnDevice[];
  readonly #byChassis = new Map<string, DrawnDevice>();

  constructor({ hosts, readings }: Observations, names: PlanNames) {
    const announcers: readonly Announcer[] = [
      ...readings.flatMap(({ neighbours }) => neighbours ?? []),
      ...hosts.flatMap(({ surroundings }) =>
        (surroundings.announcements ?? []).map(({ announcement }) => announcement),
      ),
    ];
    const saidOf = (chassis: string | null): readonly Announcer[] =>
      chassis === null ? [] : announcers.filter((one) => one.chassis === chassis);
    const sourcesOf = (chassis: string | null): readonly string[] => [
      ...new Set(
        hosts.flatMap(({ surroundings }) =>
          (surroundings.announcements ?? []).flatMap(({ announcement }) =>
            announcement.chassis === chassis ? [announcement.source] : [],
          ),
        ),
      ),
    ];
    const read = readings.map((reading) => {
      const chassis = reading.chassis ?? soleChassis(reading.node, announcers, readings);
      const [said] = saidOf(chassis);
      return new DrawnDevice({
        name: names.take(reading.node),
        kind: kindOf(said?.capabilities ?? null, reading),
        reading,
        chassis,
        management: reading.address,
        sources: sourcesOf(chassis),
      });
    });
    for (const device of read) if (device.chassis !== null) this.#byChassis.set(device.chassis, device);
    const heard = announcers.flatMap((said) => {
      if (this.#byChassis.has(said.chassis) || !forwards(said.capabilities)) return [];
      const device = new DrawnDevice({
        name: names.take(said.systemName ?? `device-${said.chassis}`),
        kind: kindOf(said.capabilities, null),
        reading: null,
        chassis: said.chassis,
        management: said.addresses[0] ?? null,
        sources: sourcesOf(said.chassis),
      });
      this.#byChassis.set(said.chassis, device);
      return [device];
    });
    this.#devices = [...read, ...heard];
  }

  get all(): readonly DrawnDevice[] {
    return this.#devices;
  }

  /** @returns undefined for what announces itself and forwards nothing, such as a telephone */
  ofChassis(chassis: string): DrawnDevice | undefined {
    return this.#byChassis.get(chassis);
  }
}

/** Of a device that could not be read, or tells no chassis: the one that announces its name, unless several do or it is another's. */
function soleChassis(
  name: string,
  announcers: readonly Announcer[],
  readings: readonly DeviceReading[],
): string | null {
  const named = new Set(announcers.flatMap(({ systemName, chassis }) => (systemName === name ? [chassis] : [])));
  for (const { chassis } of readings) if (chassis !== null) named.delete(chassis);
  const [sole] = named;
  return named.size === 1 && sole !== undefined ? sole : null;
}

/** One that says nothing of what it can is taken for a switch: hosts say that they are stations. */
const forwards = (capabilities: Announcer["capabilities"]): boolean =>
  capabilities === null ||
  capabilities.length === 0 ||
  capabilities.some((one) => one === "bridge" || one === "router" || one === "access-point" || one === "repeater");

function kindOf(capabilities: Announcer["capabilities"], reading: DeviceReading | null): NodeKind {
  if (capabilities?.includes("access-point")) return "access-point";
  if (capabilities?.includes("router") && !capabilities.includes("bridge")) return "router";
  if (capabilities?.includes("bridge")) return "switch";
  const isBridge = reading?.ports?.some(({ number }) => number !== null) ?? true;
  return isBridge ? "switch" : "router";
}
