import { formatIpAddress, networkOf, parseIpAddress } from "@dyetrace/wire";
import type { Drawing, DrawnLink } from "./drawing.ts";
import type { DrawnDevice } from "./drawn-device.ts";
import type { HostFacts } from "./host-facts.ts";
import type { KnownDevices } from "./know-devices.ts";
import type { Observations } from "./observations.ts";

/** Which VLANs are on the site, and where; none where all is one. */
export class DrawnVlans {
  readonly all: ReadonlySet<number>;
  readonly #observations: Observations;
  readonly #devices: KnownDevices;
  readonly #hosts: readonly HostFacts[];
  readonly #questions: string[];

  /** @param questions to which this adds what it cannot tell */
  constructor(observations: Observations, devices: KnownDevices, hosts: readonly HostFacts[], questions: string[]) {
    this.#observations = observations;
    this.#devices = devices;
    this.#hosts = hosts;
    this.#questions = questions;
    this.all = this.#read();
  }

  #read(): ReadonlySet<number> {
    const read = this.#observations.readings.flatMap(({ vlans }) => (vlans ?? []).map(({ vlan }) => vlan));
    const heard = this.#observations.hosts.flatMap(({ surroundings }) =>
      (surroundings.announcements ?? []).flatMap(({ announcement: { untaggedVlan, vlans } }) => [
        ...(untaggedVlan === null ? [] : [untaggedVlan]),
        ...vlans.map(({ vlan }) => vlan),
      ]),
    );
    const all = new Set([...read, ...heard]);
    return all.size > 1 ? all : new Set();
  }

  ofHost(host: string): readonly number[] {
    if (this.all.size === 0) return [];
    const facts = this.#hosts.find(({ name }) => name === host);
    const said = (facts?.surroundings.announcements ?? []).flatMap(
      ({ announcement }) => announcement.untaggedVlan ?? [],
    );
    const mac = facts?.surroundings.mac ?? "";
    const learned = this.#devices.all.flatMap((device) => device.learned.get(mac)?.vlan ?? []);
    const [vlan, ...more] = new Set([...said, ...learned]);
    if (vlan === undefined || more.length > 0) {
      const found = vlan === undefined ? "nothing says it" : `${[vlan, ...more].join(" and ")} were seen`;
      this.#questions.push(`In which VLAN is ${host}? ${found[0]?.toUpperCase()}${found.slice(1)}`);
    }
    return [vlan ?? Math.min(...this.all)];
  }

  ofPorts(ports: readonly { readonly device: DrawnDevice | undefined; readonly port: string }[]): readonly number[] {
    if (this.all.size === 0) return [];
    const known = ports.map(({ device, port }) => device?.vlansOf(port) ?? []).filter((vlans) => vlans.length > 0);
    const [first = [], second] = known;
    if (second === undefined || first.join() === second.join()) return first;
    const both = first.filter((vlan) => second.includes(vlan));
    if (both.length > 0 && ports.some(({ device }) => device?.kind === "router")) return both;
    const where = ports.map(({ device, port }) => `${device?.name}:${device?.label(port)}`).join(" and ");
    this.#questions.push(`Which VLANs cross ${where}? Its ends say ${first.join(", ")} and ${second.join(", ")}`);
    return both.length > 0 ? both : first;
  }

  /** @param links all that were drawn */
  section(links: readonly DrawnLink[]): Drawing["vlans"] {
    return new Map(
      [...this.all]
        .toSorted((a, b) => a - b)
        .map((vlan) => {
          const cidrs = links
            .filter(({ vlans, by }) => vlans.length === 1 && vlans[0] === vlan && by !== "open")
            .flatMap(({ a, b }) => [a.node, b.node])
            .flatMap((node) => this.#hosts.find(({ name }) => name === node)?.surroundings.addresses ?? []);
          return [vlan, { ipv4: subnetOf(cidrs, 4), ipv6: subnetOf(cidrs, 6) }];
        }),
    );
  }
}

/** The one subnet that all of these addresses are in; null: none, or several. */
function subnetOf(cidrs: readonly string[], family: 4 | 6): string | null {
  const subnets = new Set(
    cidrs.flatMap((cidr) => {
      const [text = "", bits = ""] = cidr.split("/");
      const address = parseIpAddress(text);
      if (address === null || address.family !== family || text.toLowerCase().startsWith("fe80")) return [];
      return [`${formatIpAddress(networkOf(address, Number(bits)))}/${bits}`];
    }),
  );
  const [only, ...more] = subnets;
  return only !== undefined && more.length === 0 ? only : null;
}
