import type { DrawnDevice } from "./drawn-device.ts";
import type { End, JoinedEnds } from "./joined-ends.ts";

/** A host that no announcement placed. */
export interface SoughtHost {
  readonly host: string;
  readonly mac: string | null;
}

/**
 * Places hosts by forwarding tables. In a tree a device learns an address on the port that leads to it, so that of all devices that
 * were read the nearest one learned it on a port that leads to no other of them. Ports of several devices that lead to each other,
 * and to none that was read between them, hang together in something that announces nothing.
 * @param placed Ethernet addresses of hosts whose port is known already, by device
 */
export function placeByTables(
  devices: readonly DrawnDevice[],
  joined: JoinedEnds,
  hosts: readonly SoughtHost[],
  placed: ReadonlyMap<string, readonly string[]>,
): Placing {
  const read = devices.filter(({ learned }) => learned.size > 0);
  const ways = new Ways(devices, placed, joined);
  joinBlindPorts(read, joined, ways);
  const placings = hosts.map(({ host, mac }) => placeHost(host, mac, { devices, read, joined, ways }));
  return {
    open: placings.flatMap(({ open }) => open),
    questions: placings.flatMap(({ questions }) => questions),
  };
}

export interface Placing {
  /** Hosts that are behind a device whose port for them was not seen. */
  readonly open: readonly { readonly host: string; readonly device: string; readonly because: string }[];
  readonly questions: readonly string[];
}

/**
 * The port by which one device reaches another, by the addresses that it learned or else by what is announced; null: not known, or its
 * table disagrees with itself.
 */
class Ways {
  readonly #ways = new Map<string, string | null>();

  constructor(devices: readonly DrawnDevice[], placed: ReadonlyMap<string, readonly string[]>, joined: JoinedEnds) {
    for (const from of devices) {
      const announced = announcedWays(from, devices, joined);
      for (const to of devices) {
        if (from === to) continue;
        const macs = [...to.ownMacs, ...(placed.get(to.name) ?? [])];
        const ports = new Set(macs.flatMap((mac) => from.learned.get(mac)?.port ?? []));
        const [only] = ports.size === 0 ? [announced.get(to.name)] : ports;
        this.#ways.set(`${from.name} ${to.name}`, ports.size <= 1 ? (only ?? null) : null);
      }
    }
  }

  port(from: DrawnDevice, to: DrawnDevice): string | null {
    return this.#ways.get(`${from.name} ${to.name}`) ?? null;
  }
}

/** First ports of the shortest ways over links that are announced and not blocked, by the device that they lead to. */
function announcedWays(
  from: DrawnDevice,
  devices: readonly DrawnDevice[],
  joined: JoinedEnds,
): ReadonlyMap<string, string> {
  const byName = new Map(devices.map((device) => [device.name, device]));
  const first = new Map<string, string>();
  const seen = new Set([from.name]);
  for (const at of seen) {
    const device = byName.get(at);
    for (const port of device === undefined ? [] : joined.portsOf(at)) {
      if (device?.isBlocked(port)) continue;
      for (const end of joined.with({ kind: "port", device: at, port })) {
        if (end.kind !== "port" || seen.has(end.device) || byName.get(end.device)?.isBlocked(end.port)) continue;
        first.set(end.device, at === from.name ? port : (first.get(at) ?? port));
        seen.add(end.device);
      }
    }
  }
  return first;
}

const endOf = ({ name }: DrawnDevice, port: string): End => ({ kind: "port", device: name, port });

const isOfAnother = (end: End, { name }: DrawnDevice): boolean => end.kind === "port" && end.device !== name;

function joinBlindPorts(read: readonly DrawnDevice[], joined: JoinedEnds, ways: Ways): void {
  const announced = new Set(
    read.flatMap((device) =>
      read.flatMap((other) => {
        const port = ways.port(device, other);
        const isAnnounced = port !== null && joined.with(endOf(device, port)).some((end) => isOfAnother(end, device));
        return isAnnounced ? [`${device.name} ${port}`] : [];
      }),
    ),
  );
  for (const [at, one] of read.entries()) {
    for (const other of read.slice(at + 1)) {
      const [there, back] = [ways.port(one, other), ways.port(other, one)];
      if (there === null || back === null) continue;
      if (announced.has(`${one.name} ${there}`) || announced.has(`${other.name} ${back}`)) continue;
      const isBetween = (third: DrawnDevice): boolean => {
        const [toOne, toOther] = [ways.port(third, one), ways.port(third, other)];
        return toOne !== null && toOther !== null && toOne !== toOther;
      };
      if (read.some((third) => third !== one && third !== other && isBetween(third))) continue;
      const because = `${one.name} and ${other.name} learned each other's addresses there and announce nothing to each other`;
      joined.join(endOf(one, there), endOf(other, back), "concluded", because);
    }
  }
}

interface Ground {
  readonly devices: readonly DrawnDevice[];
  readonly read: readonly DrawnDevice[];
  readonly joined: JoinedEnds;
  readonly ways: Ways;
}

function placeHost(host: string, mac: string | null, { devices, read, joined, ways }: Ground): Placing {
  if (mac === null) return asked(`Where does ${host} hang? Its Ethernet address is not known`);
  const knowing = read.flatMap((device) => {
    const port = device.learned.get(mac)?.port;
    return port === undefined ? [] : [{ device, port }];
  });
  const isFarther = ({ device, port }: (typeof knowing)[number]): boolean =>
    knowing.some((other) => {
      if (other.device === device || ways.port(device, other.device) !== port) return false;
      return ways.port(other.device, device) !== other.port;
    });
  const nearest = knowing.filter((one) => !isFarther(one));
  const [first, ...more] = nearest;
  if (first === undefined) {
    const why = knowing.length > 0 ? "The tables disagree about" : "No device that was read has learned";
    return asked(`Where does ${host} hang? ${why} its address ${mac}`);
  }
  const end = endOf(first.device, first.port);
  const others = more.filter((one) => !joined.areJoined(end, endOf(one.device, one.port)));
  if (others.length > 0) {
    const places = nearest.map(({ device, port }) => `${device.name}:${device.label(port)}`).join(" and ");
    return asked(`Where does ${host} hang? Its address was learned at ${places}, which cannot both be its place`);
  }
  const because = `${first.device.name} learned the address of ${host} on ${first.device.label(first.port)}`;
  const peer = joined.with(end).find((one) => isOfAnother(one, first.device));
  const isKnownBeyond = nearest.some(({ device }) => peer?.kind === "port" && device.name === peer.device);
  const beyond = peer?.kind === "port" ? devices.find(({ name }) => name === peer.device) : undefined;
  if (beyond !== undefined && !isKnownBeyond && joined.isSeen(end)) {
    return {
      open: [{ host, device: beyond.name, because }],
      questions: [`At which port of ${beyond.name} does ${host} hang? ${because}, where ${beyond.name} is`],
    };
  }
  joined.join(end, { kind: "host", host }, "concluded", because);
  return { open: [], questions: [] };
}

const asked = (question: string): Placing => ({ open: [], questions: [question] });
