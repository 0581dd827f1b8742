import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import type { PracticeProcess, PracticeSite } from "@dyetrace/practice";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";

/**
 * Throw-away senders and listeners for tests of the practice site itself: plain `dgram`, none of the agent's code, so
 * that a fault of the agent and one of the site cannot hide each other.
 */

/** @param nodes name to kind, `switch*` for the querier  @param links as in a site plan */
export function siteOf(nodes: Readonly<Record<string, string>>, links: readonly string[]): SiteGraph {
  const lines = Object.entries(nodes).map(([name, kind]) =>
    kind.endsWith("*") ? `  ${name}: { kind: ${kind.slice(0, -1)}, querier: true }` : `  ${name}: { kind: ${kind} }`,
  );
  return loadSitePlan(
    ["site: Test", "nodes:", ...lines, "links:", ...links.map((link) => `  - ${link}`)].join("\n"),
    "test",
  );
}

const script = (name: string): string => fileURLToPath(new URL(name, import.meta.url));

export interface Traffic {
  readonly group: string;
  readonly packets: number;
  readonly intervalMs?: number;
  /** Of the UDP payload. */
  readonly sizeBytes?: number;
  /** Our own without it. */
  readonly port?: number;
}

const interfaceAddress = (site: PracticeSite, host: string, group: string): string =>
  group.includes(":") ? `::%${site.addressOf(host).interfaceName}` : site.addressOf(host).ipv4;

/** Sends, and resolves when the last packet has had time to arrive, and every listener has read what arrived. */
export async function send(site: PracticeSite, host: string, traffic: Traffic): Promise<void> {
  const source = await startSource(site, host, traffic);
  const { code } = await source.exit;
  if (code !== 0) throw new Error(`the source on ${host} ended with ${code}`);
  await sleep(ON_THE_WIRE_MS);
  await Promise.all([...(listening.get(site) ?? [])].map((readAll) => readAll()));
}

/** From one host to the others through the kernel's bridges, with netem's usual delays. */
const ON_THE_WIRE_MS = 100;
const SETTLE_MS = 150;
/** Each listener's "all read", by site. */
const listening = new WeakMap<PracticeSite, Set<() => Promise<void>>>();

export function startSource(
  site: PracticeSite,
  host: string,
  { group, packets, intervalMs = 5, sizeBytes = 200, port = 48_620 }: Traffic,
): Promise<PracticeProcess> {
  const numbers = [packets, intervalMs, sizeBytes, port].map(String);
  return site.spawn(
    host,
    [process.execPath, script("group-source.mjs"), group, interfaceAddress(site, host, group), ...numbers],
    {
      onLine: failOnWords(host),
    },
  );
}

export interface Listener extends AsyncDisposable {
  /** Sequence numbers in the order of their arrival. */
  readonly seqs: readonly number[];
  /** Forgets what has arrived so far. */
  clear(): void;
  /** Leaves the group and ends. */
  leave(): Promise<void>;
}

/** Resolves when the host has joined and every switch has had time to hear its report. */
export async function join(site: PracticeSite, host: string, group: string): Promise<Listener> {
  const seqs: number[] = [];
  let onJoined = (): void => {};
  const onRead: (() => void)[] = [];
  const joined = new Promise<void>((resolve) => {
    onJoined = resolve;
  });
  const listener = await site.spawn(
    host,
    [process.execPath, script("group-listener.mjs"), group, interfaceAddress(site, host, group)],
    {
      onLine: (line, stream) => {
        if (stream === "stderr") failOnWords(host)(line);
        else if (line === "joined") onJoined();
        else if (line === "read") onRead.shift()?.();
        else seqs.push(Number(line));
      },
    },
  );
  await joined;
  await sleep(SETTLE_MS);
  const readAll = (): Promise<void> =>
    new Promise((resolve) => {
      onRead.push(resolve);
      listener.signal("SIGUSR2");
    });
  const all = listening.get(site) ?? new Set();
  listening.set(site, all.add(readAll));
  const leave = async (): Promise<void> => {
    all.delete(readAll);
    listener.signal("SIGTERM");
    await listener.exit;
  };
  return {
    seqs,
    clear: () => {
      seqs.length = 0;
    },
    leave,
    [Symbol.asyncDispose]: leave,
  };
}

const failOnWords =
  (host: string) =>
  (line: string): void => {
    process.stderr.write(`${host}: ${line}\n`);
  };

/**
 * Counts frames on a host's wire by the kernel's own counter, whether anybody joined or not. nftables' ingress hook is
 * ahead of everything in the host.
 * @param match nftables match
 * @returns how many have come since
 */
export async function countFrames(site: PracticeSite, host: string, match: string): Promise<() => Promise<number>> {
  const table = `watch${++tables}`;
  const { interfaceName } = site.addressOf(host);
  const chain = `type filter hook ingress device "${interfaceName}" priority -100; policy accept;`;
  const set = await site.exec(host, ["nft", "-f", "-"], {
    stdin: `table netdev ${table} {\n chain c {\n ${chain}\n ${match} counter\n }\n}\n`,
  });
  if (set.code !== 0) throw new Error(set.stderr);
  return async () => {
    const { stdout } = await site.exec(host, ["nft", "list", "table", "netdev", table]);
    return Number(/counter packets ([0-9]+)/.exec(stdout)?.[1]);
  };
}

let tables = 0;

export const range = (count: number): number[] => Array.from({ length: count }, (_, seq) => seq);
