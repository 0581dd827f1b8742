import { type ChildProcessWithoutNullStreams, execFileSync, spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import type { MembershipEvent, WatcherReport } from "@dyetrace/wire";

/** Runs a command to its end. @returns its standard output @throws with what it wrote to standard error */
export const run = (command: string, ...args: readonly string[]): string =>
  execFileSync(command, args, { encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] });

/** Waits for what must come, and says what was there instead. */
export async function until<T>(what: string, look: () => T | null | Promise<T | null>, timeoutMs = 10_000): Promise<T> {
  for (const end = Date.now() + timeoutMs; ; ) {
    const seen = await look();
    if (seen !== null) return seen;
    if (Date.now() > end) throw new Error(`Not within ${timeoutMs} ms: ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

let networks = 0;

/** One switch (a kernel bridge in a namespace of its own) with hosts on it, each in a namespace of its own. */
export class WatcherNetwork {
  readonly #prefix = `dtw${process.pid}x${networks++}`;
  readonly #hosts: TestHost[] = [];
  readonly #namespaces: string[] = [];

  constructor(bridgeOptions: readonly string[]) {
    const bridge = this.#addNamespace("sw");
    run("ip", "-n", bridge, "link", "add", "br0", "type", "bridge", "mcast_stats_enabled", "1", ...bridgeOptions);
    run("ip", "-n", bridge, "link", "set", "br0", "up");
    run("ip", "netns", "exec", bridge, "sysctl", "-qw", "net.bridge.bridge-nf-call-iptables=0");
  }

  get #bridge(): string {
    return `${this.#prefix}sw`;
  }

  /** @param launcher goes before `node`, for a host process with less rights */
  addHost(name: string, launcher: readonly string[] = []): TestHost {
    const number = this.#hosts.length + 1;
    const namespace = this.#addNamespace(name);
    const address = `192.0.2.${number}`;
    run("ip", "link", "add", "eth0", "netns", namespace, "type", "veth", "peer", "name", name, "netns", this.#bridge);
    run("ip", "-n", this.#bridge, "link", "set", name, "master", "br0", "up");
    run("ip", "-n", namespace, "addr", "add", `${address}/24`, "dev", "eth0");
    run("ip", "-n", namespace, "link", "set", "lo", "up");
    run("ip", "-n", namespace, "link", "set", "eth0", "up");
    const host = new TestHost(namespace, address, launcher);
    this.#hosts.push(host);
    return host;
  }

  /** Options of the bridge that make it query; they go on apart from the timers, which must be in force before. */
  configure(...options: readonly string[]): void {
    run("ip", "-n", this.#bridge, "link", "set", "br0", "type", "bridge", ...options);
  }

  inSwitch(command: string, ...args: readonly string[]): string {
    return run("ip", "netns", "exec", this.#bridge, command, ...args);
  }

  /** The switch's own table of one group: one entry per port that has members. */
  groupTable(group: string): readonly Record<string, unknown>[] {
    const tables = JSON.parse(this.inSwitch("bridge", "-j", "-d", "mdb", "show", "dev", "br0")) as {
      readonly mdb?: readonly Record<string, unknown>[];
    }[];
    return tables.flatMap((table) => table.mdb ?? []).filter((entry) => entry["grp"] === group);
  }

  /** The switch's own counters of IGMP and MLD messages that went through the port of one host. */
  portCounters(name: string): PortCounters {
    const listing = JSON.parse(
      this.inSwitch("ip", "-j", "link", "xstats", "type", "bridge_slave", "dev", name),
    ) as readonly { readonly multicast: PortCounters }[];
    const counters = listing[0]?.multicast;
    if (counters === undefined) throw new Error(`The switch has no counters of port ${name}`);
    return counters;
  }

  async close(): Promise<void> {
    await Promise.all(this.#hosts.map((host) => host.close()));
    for (const namespace of this.#namespaces) run("ip", "netns", "del", namespace);
  }

  #addNamespace(name: string): string {
    const namespace = `${this.#prefix}${name}`;
    run("ip", "netns", "add", namespace);
    this.#namespaces.push(namespace);
    // an address is good at once: no host here has the same
    run("ip", "netns", "exec", namespace, "sysctl", "-qw", "net.ipv6.conf.default.accept_dad=0");
    return namespace;
  }
}

/** As `ip -j link xstats` names them; `rx` is what the switch received from the host. */
export interface PortCounters {
  readonly igmp_queries: Readonly<Record<"tx_v1" | "tx_v2" | "tx_v3", number>>;
  readonly igmp_reports: Readonly<Record<"rx_v1" | "rx_v2" | "rx_v3", number>>;
  readonly igmp_leaves: Readonly<Record<"rx" | "tx", number>>;
  readonly mld_queries: Readonly<Record<"tx_v1" | "tx_v2", number>>;
  readonly mld_reports: Readonly<Record<"rx_v1" | "rx_v2", number>>;
  readonly mld_leaves: Readonly<Record<"rx" | "tx", number>>;
}

/** A process inside a host's namespace that joins, sends and watches on command. */
export class TestHost {
  readonly namespace: string;
  /** Own IPv4 address; a test that changes it says so here. */
  address: string;
  readonly #process: ChildProcessWithoutNullStreams;
  readonly #answers: AsyncIterator<string>;

  constructor(namespace: string, address: string, launcher: readonly string[]) {
    this.namespace = namespace;
    this.address = address;
    const script = fileURLToPath(new URL("./watcher-host.mjs", import.meta.url));
    const args = ["netns", "exec", namespace, ...launcher, process.execPath, script, "eth0"];
    this.#process = spawn("ip", args, { stdio: ["pipe", "pipe", "pipe"] });
    this.#process.stderr.pipe(process.stderr);
    this.#answers = createInterface({ input: this.#process.stdout })[Symbol.asyncIterator]();
  }

  async ask(kind: string, details: Record<string, unknown> = {}): Promise<Record<string, unknown>> {
    this.#process.stdin.write(`${JSON.stringify({ kind, address: this.address, ...details })}\n`);
    const line = await this.#answers.next();
    if (line.done === true) throw new Error(`The host process in ${this.namespace} ended`);
    const answer = JSON.parse(line.value) as Record<string, unknown>;
    if (answer["error"] !== undefined) throw new Error(`${kind} on ${this.namespace}: ${String(answer["error"])}`);
    return answer;
  }

  async snapshot(): Promise<WatcherReport | null> {
    return (await this.ask("snapshot"))["report"] as WatcherReport | null;
  }

  /** Adds what the watcher heard since the last call to `heard`, and returns the first event that fits. */
  async hear(
    what: string,
    heard: MembershipEvent[],
    fits: (event: MembershipEvent) => boolean,
    timeoutMs?: number,
  ): Promise<MembershipEvent> {
    return until(
      what,
      async () => {
        heard.push(...((await this.snapshot())?.membership ?? []));
        return heard.find(fits) ?? null;
      },
      timeoutMs,
    );
  }

  exec(command: string, ...args: readonly string[]): string {
    return run("ip", "netns", "exec", this.namespace, command, ...args);
  }

  async close(): Promise<void> {
    const ended = new Promise((resolve) => this.#process.once("close", resolve));
    if (this.#process.exitCode !== null) return;
    this.#process.stdin.end();
    await ended;
  }
}
