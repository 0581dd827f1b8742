import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "./practice-host.ts";
import type { PracticeLayout } from "./practice-layout.ts";
import type { PracticeTimers } from "./practice-timers.ts";
import { planRoutes } from "./routes.ts";
import { inside } from "./step.ts";

const PROGRAM = fileURLToPath(new URL("./host/route-multicast.js", import.meta.url));
/** A router waits on a socket for each interface, each on a thread of its own. */
const THREADS = "80";

/** Starts the process of each router and waits until all of them route. @throws {Fault} PRACTICE_FAILED with its words */
export async function startRouters(
  host: PracticeHost,
  layout: PracticeLayout,
  { timers, hasIpv6 }: RouterSetup,
): Promise<void> {
  const routes = planRoutes(layout);
  const routers = [...layout.nodes.values()].filter(({ kind }) => kind === "router");
  const start = async (name: string, namespace: string): Promise<void> => {
    const config = JSON.stringify(routes.routerConfig(name, timers, hasIpv6));
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
    const router = await host.spawn(inside(namespace, [process.execPath, PROGRAM, config]), { onLine, env });
    if ((await Promise.race([ready, router.exit])) === "ready") return;
    throw new Fault("PRACTICE_FAILED", `The router "${name}" ended at once: ${words.join(" ")}`, "");
  };
  await Promise.all(routers.map(({ name, namespace }) => start(name, namespace)));
}

interface RouterSetup {
  readonly timers: PracticeTimers;
  readonly hasIpv6: boolean;
}
