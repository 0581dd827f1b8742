import { createSocket, type Socket } from "node:dgram";
import type { MembershipMessage } from "@dyetrace/wire";
import { type KernelRoutes, openKernelRoutes } from "./kernel-routes.ts";
import { Memberships } from "./memberships.ts";
import { NeighbourWants, type WantList } from "./neighbour-wants.ts";
import { reversePath } from "./reverse-path.ts";
import type { RouterConfig } from "./router-config.ts";

/** Routers of a practice site talk to each other on this UDP port, inside its namespaces. */
const WANTS_PORT = 48_690;
const TICK_MS = 100;
const REPEAT_WANTS_MS = 1_000;
const ROUTE_LOOK_MS = 500;

interface Entry {
  readonly from: number;
  readonly outs: readonly number[];
}

/**
 * Keeps the kernel's multicast route table of one router of a practice site from the memberships it hears.
 *
 * Why not only a routing daemon: so that the site needs nothing but the kernel and Node, comes up in a second, and its
 * state is known exactly. The kernel itself forwards, counts TTL down and checks the reverse path. What a routing protocol
 * would settle between routers is settled beforehand by the plan: which router brings whose packets into which subnet.
 *
 * Entries stand before the first packet comes, for every host of the site: a packet that must wait for its entry is lost
 * when the kernel's queue is full, and comes late otherwise.
 */
export class MulticastRouter {
  readonly #config: RouterConfig;
  readonly #members: readonly Memberships[];
  readonly #wants: readonly NeighbourWants[];
  readonly #bringsFrom: readonly ReadonlySet<string>[];
  readonly #hosts: ReadonlySet<string>;
  readonly #byAddress: ReadonlyMap<string, number>;
  readonly #kernel: ReadonlyMap<4 | 6, KernelRoutes>;
  readonly #talk: Socket = createSocket("udp4");
  readonly #entries = new Map<string, Entry>();
  /** Sources by which interface they come in at; null where no route leads back. */
  readonly #from = new Map<string, number | null>();
  /** Pairs that the kernel asked for, `source group`. */
  readonly #asked = new Set<string>();
  #isStale = true;
  #said: string[] = [];
  #saidAtMs = 0;
  #lookedAtMs = 0;

  constructor(config: RouterConfig) {
    const { interfaces, hosts, timers } = config;
    this.#config = config;
    this.#hosts = new Set(hosts);
    this.#members = interfaces.map(() => new Memberships(timers));
    this.#wants = interfaces.map(() => new NeighbourWants());
    this.#bringsFrom = interfaces.map(({ bringsFrom }) => new Set(bringsFrom));
    this.#byAddress = new Map(
      interfaces.flatMap(({ ipv4, ipv6 }, at) => [
        [ipv4, at] as const,
        ...(ipv6 === null ? [] : [[ipv6, at] as const]),
      ]),
    );
    const indexes = interfaces.map(({ index }) => index);
    const onUnknown = (source: string, group: string): void => this.#ask(source, group);
    this.#kernel = new Map(config.families.map((family) => [family, openKernelRoutes(family, indexes, onUnknown)]));
  }

  /** Resolves when the router works; it then goes on until the process ends. */
  async start(): Promise<void> {
    await new Promise<void>((resolve) => this.#talk.bind(WANTS_PORT, resolve));
    this.#talk.on("message", (message, { address }) => {
      const at = this.#config.interfaces.findIndex(({ neighbours }) => neighbours.includes(address));
      if (this.#wants[at]?.take(address, message.toString("utf8"), performance.now())) this.#refresh();
    });
    await this.#lookForRoutes();
    this.#refresh();
    setInterval(() => void this.#tick(), TICK_MS);
  }

  hear(at: number, message: MembershipMessage): void {
    const nowMs = performance.now();
    if (!this.#members[at]?.take(message, nowMs)) return;
    this.#isStale = true;
    // A join takes effect at once, a leave when its time has run out.
    setImmediate(() => {
      if (this.#isStale) this.#refresh();
    });
  }

  async #tick(): Promise<void> {
    const nowMs = performance.now();
    for (const members of this.#members) this.#isStale = members.expire(nowMs) || this.#isStale;
    for (const wants of this.#wants) this.#isStale = wants.expire(nowMs) || this.#isStale;
    if (nowMs - this.#lookedAtMs >= ROUTE_LOOK_MS) {
      this.#lookedAtMs = nowMs;
      await this.#lookForRoutes();
    }
    if (this.#isStale) this.#refresh();
    if (nowMs - this.#saidAtMs >= REPEAT_WANTS_MS) this.#sayWants(true);
  }

  async #lookForRoutes(): Promise<void> {
    const sources = new Set([...this.#hosts, ...this.#from.keys()]);
    await Promise.all(
      [...sources].map(async (source) => {
        const from = await reversePath(source, this.#byAddress);
        if (from === this.#from.get(source)) return;
        this.#from.set(source, from);
        this.#isStale = true;
      }),
    );
  }

  #ask(source: string, group: string): void {
    this.#asked.add(`${source} ${group}`);
    if (this.#from.has(source)) this.#refresh();
    else this.#lookedAtMs = 0;
    if (!this.#from.has(source)) this.#from.set(source, null);
  }

  #refresh(): void {
    this.#isStale = false;
    const wanted = new Map<string, Entry>();
    for (const key of this.#pairs()) {
      const [source = "", group = ""] = key.split(" ");
      const from = this.#from.get(source) ?? null;
      if (from !== null) wanted.set(key, { from, outs: this.#outsOf(source, group, from) });
    }
    for (const [key, { from }] of this.#entries) {
      const [source = "", group = ""] = key.split(" ");
      if (wanted.has(key)) continue;
      this.#kernelOf(group)?.remove(source, group, from);
      this.#entries.delete(key);
    }
    for (const [key, entry] of wanted) {
      const [source = "", group = ""] = key.split(" ");
      const known = this.#entries.get(key);
      if (known?.from === entry.from && known.outs.join() === entry.outs.join()) continue;
      this.#kernelOf(group)?.put(source, group, entry.from, entry.outs);
      this.#entries.set(key, entry);
    }
    this.#sayWants(false);
  }

  /** Every host with every group that anybody wants, and what the kernel asked for. */
  #pairs(): ReadonlySet<string> {
    const groups = new Set<string>();
    for (const members of this.#members) for (const group of members.groups) groups.add(group);
    for (const wants of this.#wants) for (const group of wants.groups()) groups.add(group);
    const pairs = new Set(this.#asked);
    for (const group of groups) {
      for (const source of this.#hosts) if (isIpv6(source) === isIpv6(group)) pairs.add(`${source} ${group}`);
    }
    return pairs;
  }

  #outsOf(source: string, group: string, from: number): number[] {
    return [...this.#members.keys()].filter(
      (at) =>
        at !== from &&
        (this.#bringsFrom[at]?.has(source) || !this.#hosts.has(source)) &&
        (this.#members[at]?.wants(source, group) || this.#wants[at]?.wants(source, group)),
    );
  }

  /** Asks the routers of each subnet for what has to come in there. */
  #sayWants(isRepeat: boolean): void {
    const said = this.#config.interfaces.map((_, at) => JSON.stringify(this.#wantList(at)));
    if (isRepeat) this.#saidAtMs = performance.now();
    for (const [at, text] of said.entries()) {
      if (!isRepeat && text === this.#said[at]) continue;
      for (const neighbour of this.#config.interfaces[at]?.neighbours ?? []) {
        // An address that cannot be reached at the moment is asked again in a second.
        this.#talk.send(text, WANTS_PORT, neighbour, () => {});
      }
    }
    this.#said = said;
  }

  #wantList(at: number): WantList {
    const groupsOf = new Map<string, string[]>();
    for (const [key, { from, outs }] of this.#entries) {
      if (from !== at || outs.length === 0) continue;
      const [source = "", group = ""] = key.split(" ");
      groupsOf.set(source, [...(groupsOf.get(source) ?? []), group]);
    }
    const sourcesOf = new Map<string, string[]>();
    for (const [source, groups] of groupsOf) {
      const together = groups.sort().join(" ");
      sourcesOf.set(together, [...(sourcesOf.get(together) ?? []), source]);
    }
    return [...sourcesOf].map(([groups, sources]) => ({ sources: sources.sort(), groups: groups.split(" ") }));
  }

  #kernelOf(group: string): KernelRoutes | undefined {
    return this.#kernel.get(isIpv6(group) ? 6 : 4);
  }
}

const isIpv6 = (address: string): boolean => address.includes(":");
