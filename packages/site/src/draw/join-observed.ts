import type { DrawnDevice } from "./drawn-device.ts";
import type { HostFacts } from "./host-facts.ts";
import type { End, JoinedEnds } from "./joined-ends.ts";
import type { KnownDevices } from "./know-devices.ts";
import { type Placing, placeByTables } from "./place-by-tables.ts";

/** Announcements come every 30 s by default (IEEE 802.1AB, 9.2.5.7), and hold for about four times as long as they are apart. */
const SILENT_AFTER_MS = 65_000;

/** Joins what hangs together: by what is announced first, then by what was learned. */
export class ObservedJoints {
  readonly #devices: KnownDevices;
  readonly #hosts: readonly HostFacts[];
  readonly #joined: JoinedEnds;
  readonly #questions: string[] = [];

  constructor(devices: KnownDevices, hosts: readonly HostFacts[], joined: JoinedEnds) {
    this.#devices = devices;
    this.#hosts = hosts;
    this.#joined = joined;
  }

  join(): Placing {
    const placed = this.#joinAnnounced();
    const sought = this.#hosts.filter(({ name }) => !this.#joined.has({ kind: "host", host: name }));
    const { open, questions } = placeByTables(
      this.#devices.all,
      this.#joined,
      sought.map(({ name: host, surroundings }) => ({ host, mac: surroundings.mac })),
      placed,
    );
    this.#doubtSilence(sought);
    return { open, questions: [...questions, ...this.#questions] };
  }

  /** @returns Ethernet addresses of hosts at their device */
  #joinAnnounced(): ReadonlyMap<string, readonly string[]> {
    for (const device of this.#devices.all) {
      for (const said of device.reading?.neighbours ?? []) {
        const peer = this.#devices.ofChassis(said.chassis);
        if (peer === undefined || peer === device) continue;
        const ends = [portEnd(device, device.portOfInterface(said.port)), portEnd(peer, peer.portOf(said))] as const;
        this.#joined.join(...ends, "seen", `${device.name} hears ${peer.name} on ${said.port}`);
      }
    }
    const placed = new Map<string, string[]>();
    for (const { name, surroundings } of this.#hosts) {
      for (const { announcement } of surroundings.announcements ?? []) {
        const device = this.#devices.ofChassis(announcement.chassis);
        if (device === undefined) continue;
        const port = device.portOf(announcement);
        this.#joined.join(portEnd(device, port), { kind: "host", host: name }, "seen", `${name} hears ${device.name}`);
        if (surroundings.mac !== null) placed.set(device.name, [...(placed.get(device.name) ?? []), surroundings.mac]);
      }
    }
    return placed;
  }

  /**
   * Hosts that tables alone place: one that hears nothing at a port whose device announces itself has something in between; where
   * that cannot be told, it is asked.
   */
  #doubtSilence(sought: readonly HostFacts[]): void {
    const holdMs = this.#announcingDevices();
    const untold = new Map<string, string[]>();
    for (const { name, surroundings } of sought) {
      const ends = this.#joined.with({ kind: "host", host: name });
      const [other] = ends.filter((end) => end.kind === "port");
      if (ends.length !== 2 || other?.kind !== "port") continue;
      if (this.#devices.all.find(({ name: one }) => one === other.device)?.kind === "access-point") continue; // over the air nothing is announced
      const dueMs = holdMs.get(other.device);
      if (dueMs === undefined || surroundings.announcements === null || surroundings.heardForMs < dueMs) {
        untold.set(other.device, [...(untold.get(other.device) ?? []), name]);
        continue;
      }
      const text = `${name} hears no announcement of ${other.device}, which announces itself to others`;
      this.#joined.join({ kind: "host", host: name }, this.#joined.nextUnseen(), "concluded", text);
    }
    for (const [device, names] of untold) {
      this.#questions.push(
        `Does anything stand between ${device} and ${names.join(", ")}? ${device} learned each address on a port of its own; what announces nothing in between would not show`,
      );
    }
  }

  /** Devices that somebody hears, and how long a host must have listened before it can be said not to hear them, ms. */
  #announcingDevices(): ReadonlyMap<string, number> {
    const holdMs = new Map<string, number>();
    for (const device of this.#devices.all) {
      for (const { chassis } of device.reading?.neighbours ?? []) {
        const peer = this.#devices.ofChassis(chassis);
        if (peer !== undefined && peer !== device) holdMs.set(peer.name, SILENT_AFTER_MS);
      }
    }
    for (const { surroundings } of this.#hosts) {
      for (const { announcement } of surroundings.announcements ?? []) {
        const device = this.#devices.ofChassis(announcement.chassis);
        if (device !== undefined) holdMs.set(device.name, Math.min(announcement.ttlS * 1000, SILENT_AFTER_MS));
      }
    }
    return holdMs;
  }
}

const portEnd = ({ name }: DrawnDevice, port: string): End => ({ kind: "port", device: name, port });
