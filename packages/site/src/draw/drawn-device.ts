import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { NodeKind } from "../model/site-model.ts";
import { PORT_NAME } from "./plan-names.ts";

const MAC = /^[0-9a-f]{2}(:[0-9a-f]{2}){5}$/;
/** A part of a port that carries one VLAN of it, as systems with a port for each name them: `eth0.20`. */
const PART_OF_PORT = /^(.+)\.([1-9][0-9]{0,3})$/;

/** What one neighbour calls a port of this device. */
export interface AnnouncedPort {
  readonly portId: string;
  readonly portDescription: string | null;
}

/** One port of a device: an interface, or all interfaces that carry one VLAN each of the same port. */
interface PortFacts {
  readonly interfaces: readonly DevicePort[];
  readonly vlans: readonly number[];
}

/** A switch, router or access point that announced itself or was read, and its ports by one name each. */
export class DrawnDevice {
  readonly name: string;
  readonly kind: NodeKind;
  readonly reading: DeviceReading | null;
  readonly chassis: string | null;
  readonly management: string | null;
  /** Ethernet addresses from which it announced itself. */
  readonly sources: readonly string[];
  /** Interface to port; the reading's own words. */
  readonly #portOfInterface = new Map<string, string>();
  readonly #facts = new Map<string, PortFacts>();
  /** What it calls its ports when it announces itself. */
  readonly #labels = new Map<string, string>();
  /** Learned Ethernet addresses: the port, and the VLAN. */
  readonly learned: ReadonlyMap<string, { readonly port: string; readonly vlan: number | null }>;

  constructor(facts: Pick<DrawnDevice, "name" | "kind" | "reading" | "chassis" | "management" | "sources">) {
    this.name = facts.name;
    this.kind = facts.kind;
    this.reading = facts.reading;
    this.chassis = facts.chassis;
    this.management = facts.management;
    this.sources = facts.sources;
    for (const one of this.reading?.ports ?? []) this.#book(one);
    this.learned = this.#readForwarding();
  }

  /** @returns its own name for the port that is announced so, whatever form that has */
  portOf({ portId, portDescription }: AnnouncedPort): string {
    const port = this.#interfaceOf(portId, portDescription);
    const known = port === null ? portId : (this.#portOfInterface.get(port) ?? port);
    if (!MAC.test(portId) && PORT_NAME.test(portId) && !this.#labels.has(known)) this.#labels.set(known, portId);
    return known;
  }

  portOfInterface(name: string): string {
    return this.#portOfInterface.get(name) ?? name;
  }

  /** As the plan shall call it. */
  label(port: string): string {
    return this.#labels.get(port) ?? port;
  }

  /** VLANs that cross a port; empty where that is not known. */
  vlansOf(port: string): readonly number[] {
    return this.#facts.get(port)?.vlans ?? [];
  }

  /** The VLAN of frames without a tag. */
  untaggedVlanOf(port: string): number | null {
    const [first, ...more] = this.#facts.get(port)?.interfaces ?? [];
    return more.length > 0 ? null : (first?.untaggedVlan ?? null);
  }

  speedOf(port: string): number | null {
    return this.#facts.get(port)?.interfaces.find(({ speedBps }) => speedBps !== null)?.speedBps ?? null;
  }

  /** Spanning tree lets no frames of users through. */
  isBlocked(port: string): boolean {
    const interfaces = this.#facts.get(port)?.interfaces ?? [];
    return interfaces.length > 0 && interfaces.every(({ spanningTree }) => spanningTree === "blocking");
  }

  /** Down, by the device's own word; null: it does not say. */
  isUp(port: string): boolean | null {
    const known = (this.#facts.get(port)?.interfaces ?? []).flatMap(({ up }) => up ?? []);
    return known.length === 0 ? null : known.some((up) => up);
  }

  isHalfDuplex(port: string): boolean {
    return (this.#facts.get(port)?.interfaces ?? []).some(({ duplex }) => duplex === "half");
  }

  /** @returns the port that the plan calls so: by what the device announces, by its own name, or by the number at its end */
  portOfPlan(planned: string): string | null {
    const ports = [...this.#facts.keys()];
    const named = ports.find((port) => this.label(port) === planned || port === planned);
    if (named !== undefined) return named;
    const numbered = ports.filter((port) => isSamePort(planned, [port, this.label(port)]) === true);
    return numbered.length === 1 ? (numbered[0] ?? null) : null;
  }

  /** All names of a port. */
  namesOf(port: string): readonly string[] {
    return [this.label(port), port];
  }

  /** Ethernet addresses that are its own. */
  get ownMacs(): readonly string[] {
    const chassis = this.chassis !== null && MAC.test(this.chassis) ? [this.chassis] : [];
    return [...chassis, ...this.sources, ...(this.reading?.ports ?? []).flatMap(({ mac }) => mac ?? [])];
  }

  #book(one: DevicePort): void {
    const inVlans = (this.reading?.vlans ?? []).filter(({ ports }) => ports.includes(one.name)).map(({ vlan }) => vlan);
    const [, base = "", number = ""] = PART_OF_PORT.exec(one.name) ?? [];
    const vlan = Number(number);
    const isPart = base !== "" && vlan <= 4094 && (this.reading?.vlans == null || inVlans.join() === number);
    const port = isPart ? base : one.name;
    this.#portOfInterface.set(one.name, port);
    const { announcedAs } = one;
    if (announcedAs !== null && PORT_NAME.test(announcedAs)) this.#labels.set(port, announcedAs);
    const known = this.#facts.get(port);
    const vlans = new Set([...(known?.vlans ?? []), ...(isPart ? [vlan] : inVlans)]);
    this.#facts.set(port, {
      interfaces: [...(known?.interfaces ?? []), one],
      vlans: [...vlans].toSorted((a, b) => a - b),
    });
  }

  #interfaceOf(portId: string, description: string | null): string | null {
    const ports = this.reading?.ports ?? [];
    const byName =
      ports.find(({ name }) => name === portId) ??
      ports.find(({ announcedAs }) => announcedAs === portId) ??
      ports.find(({ name }) => name === description);
    if (byName !== undefined) return byName.name;
    const byMac = ports.filter(({ mac }) => mac === portId);
    const byAlias = ports.filter(({ alias }) => alias !== null && alias !== "" && alias === portId);
    const [only, ...more] = byMac.length > 0 ? byMac : byAlias;
    return only !== undefined && more.length === 0 ? only.name : null;
  }

  #readForwarding(): DrawnDevice["learned"] {
    const learned = new Map<string, { readonly port: string; readonly vlan: number | null }>();
    for (const { mac, port, vlan, status } of this.reading?.forwarding ?? []) {
      if (port === null || status === "self") continue;
      learned.set(mac, { port: this.portOfInterface(port), vlan });
    }
    return learned;
  }
}

/**
 * Whether a port of a plan is one that a device calls by these names. A plan says `24` for what the device calls by its kind and
 * place, with that number at the end.
 * @returns null where the names cannot be compared
 */
export function isSamePort(planned: string, names: readonly string[]): boolean | null {
  if (names.includes(planned)) return true;
  const number = (text: string): string | undefined => /([0-9]+)$/.exec(text)?.[1];
  const own = number(planned);
  const others = names.map(number);
  if (own === undefined || others.every((one) => one === undefined)) return null;
  return others.includes(own);
}
