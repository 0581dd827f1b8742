import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import { inside } from "../host/step.ts";
import type { MulticastRouting } from "../layout/multicast-routing.ts";
import type { NodeLayout, PracticeLayout } from "../layout/practice-layout.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import { startPimSuite } from "./pim-suite.ts";
import type { RouterConfig } from "./router-config.ts";
import { planRoutes } from "./routes.ts";

const PROGRAM = fileURLToPath(new URL("./route-multicast.js", import.meta.url));
/** A router waits on a socket for each interface, each on a thread of its own. */
const THREADS = "80";

export interface RouterSetup {
  readonly timers: PracticeTimers;
  readonly hasIpv6: boolean;
  readonly routing: MulticastRouting;
}

/** Starts what routes multicast on each router, and waits until it does. @throws {Fault} PRACTICE_FAILED, NEEDS_TOOL, NEEDS_PRIVILEGE */
export async function startRouters(
  host: PracticeHost,
  layout: PracticeLayout,
  { timers, hasIpv6, routing }: RouterSetup,
): Promise<void> {
  const routes = planRoutes(layout);
  const families = hasIpv6 ? ([4, 6] as const) : ([4] as const);
  const own = families.filter((family) => family === 6 || routing === "memberships");
  const routers = [...layout.nodes.values()].filter(({ kind }) => kind === "router");
  const configOf = ({ name }: NodeLayout): RouterConfig => routes.routerConfig(name, timers, own);
  if (own.length > 0) await Promise.all(routers.map((router) => startOwn(host, router, configOf(router))));
  if (routing === "memberships") return;
  const configured = routers.map((router) => ({ ...router, config: configOf(router) }));
  await startPimSuite(host, configured, timers);
}

async function startOwn(host: PracticeHost, { name, namespace }: NodeLayout, config: RouterConfig): Promise<void> {
  const words: string[] = [];
  let onReady = (): void => {};
  const ready = new Promise<"ready">((resolve) => {
    onReady = () => resolve("ready");
  });
  const onLine = (line: string): void => {
    if (line === "ready") onReady();
    else words.push(line);
  };
  const env = { UV_THREADPOOL_SIZE: THREADS };
  const argv = [process.execPath, PROGRAM, JSON.stringify(config)];
  const router = await host.spawn(inside(namespace, argv), { onLine, env });
  if ((await Promise.race([ready, router.exit])) === "ready") return;
  throw new Fault("PRACTICE_FAILED", `The router "${name}" ended at once: ${words.join(" ")}`, "");
}
