import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import { requireTool } from "../host/require-tool.ts";
import { inside } from "../host/step.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import type { RouterConfig } from "./router-config.ts";

/**
 * PIM sparse mode (RFC 7761) by the routing daemon suite in Debian's package frr, for IPv4: that package has no daemon
 * for PIM over IPv6, so IPv6 groups are routed by our own process beside it. Each router has daemons of its own, inside its
 * namespace, with their files in a folder of the site's own /run.
 */
const DAEMONS = "/usr/lib/frr";
/** The user that Debian's package makes for them. */
const USER = "frr";
const POLL_MS = 200;
const NEIGHBOURS_WITHIN_MS = 30_000;

export interface PimRouter {
  readonly name: string;
  readonly namespace: string;
  readonly config: RouterConfig;
}

/** The first router of the plan is the rendezvous point, by its address in a subnet that it shares with other routers. */
export function rendezvousPoint(routers: readonly PimRouter[]): string | null {
  const interfaces = routers[0]?.config.interfaces ?? [];
  return (interfaces.find(({ neighbours }) => neighbours.length > 0) ?? interfaces[0])?.ipv4 ?? null;
}

/** Starts the suite on every router and waits until the routers know each other. @throws {Fault} NEEDS_TOOL, NEEDS_PRIVILEGE, PRACTICE_FAILED */
export async function startPimSuite(
  host: PracticeHost,
  routers: readonly PimRouter[],
  timers: PracticeTimers,
): Promise<void> {
  requireTool("pimd");
  if (process.getuid?.() !== 0) {
    throw new Fault(
      "NEEDS_PRIVILEGE",
      "PIM on a practice site needs root: the routing daemons change to a user of their own",
      "Run it as root, or leave the routing to our own process",
    );
  }
  const point = rendezvousPoint(routers);
  if (point === null) return;
  await Promise.all(routers.map((router) => startDaemons(host, router, pimText(router.config, point, timers))));
  await Promise.all(routers.map((router) => neighboursKnown(host, router)));
}

/** One command of the suite's shell on a router; `configure` ones are given as the lines that it would read. */
export const suiteCommand = (namespace: string, router: string, lines: readonly string[]): readonly string[] =>
  inside(namespace, ["vtysh", "--vty_socket", folderOf(router), ...lines.flatMap((line) => ["-c", line])]);

const folderOf = (router: string): string => `/run/${USER}/${router}`;

/** Hellos and joins are repeated often enough for a test of seconds; memberships live as long as on the switches. */
function pimText({ interfaces }: RouterConfig, point: string, timers: PracticeTimers): string {
  const querySeconds = Math.max(1, Math.round(timers.queryIntervalMs / 1000));
  const responseTenths = Math.max(1, Math.round(timers.queryResponseIntervalMs / 100));
  return [
    `ip pim rp ${point} 224.0.0.0/4`,
    "ip pim join-prune-interval 5",
    ...interfaces.flatMap(({ name }) => [
      `interface ${name}`,
      " ip pim",
      " ip pim hello 2 7",
      " ip igmp",
      // The response time first: it may not be longer than the interval.
      ` ip igmp query-max-response-time ${responseTenths}`,
      ` ip igmp query-interval ${querySeconds}`,
      ` ip igmp last-member-query-interval ${Math.max(1, Math.round(timers.lastMemberIntervalMs / 100))}`,
      "!",
    ]),
    "",
  ].join("\n");
}

async function startDaemons(host: PracticeHost, { name, namespace }: PimRouter, pim: string): Promise<void> {
  const folder = folderOf(name);
  const write = 'mkdir -p "$0" && : > "$0/zebra.conf" && cat > "$0/pimd.conf" && chown -R "$1:$1" "$(dirname "$0")"';
  const { code, stderr } = await host.run(["sh", "-c", write, folder, USER], pim);
  if (code !== 0) throw failed(name, stderr);
  for (const daemon of ["zebra", "pimd"]) {
    const words: string[] = [];
    const files = ["-f", `${folder}/${daemon}.conf`, "-i", `${folder}/${daemon}.pid`, "-z", `${folder}/zserv.api`];
    const argv = [`${DAEMONS}/${daemon}`, "-u", USER, "-g", USER, ...files, "--vty_socket", folder, "--log", "stdout"];
    const process = await host.spawn(inside(namespace, argv), { onLine: (line) => words.push(line) });
    let hasEnded = false;
    void process.exit.then(() => {
      hasEnded = true;
    });
    // Its control socket comes last.
    while ((await host.run(["test", "-S", `${folder}/${daemon}.vty`])).code !== 0) {
      if (hasEnded) throw failed(name, words.slice(-3).join(" "));
      await sleep(POLL_MS);
    }
  }
}

async function neighboursKnown(host: PracticeHost, { name, namespace, config }: PimRouter): Promise<void> {
  const wanted = config.interfaces.flatMap(({ neighbours }) => neighbours);
  for (const giveUpAt = performance.now() + NEIGHBOURS_WITHIN_MS; ; await sleep(POLL_MS)) {
    const { stdout } = await host.run(suiteCommand(namespace, name, ["show ip pim neighbor"]));
    const missing = wanted.filter((address) => !stdout.includes(` ${address} `));
    if (missing.length === 0) return;
    if (performance.now() > giveUpAt) throw failed(name, `it does not hear ${missing.join(" and ")}: ${stdout}`);
  }
}

const failed = (router: string, words: string): Fault =>
  new Fault("PRACTICE_FAILED", `The routing daemons of "${router}" did not come up: ${words.trim()}`, "");
