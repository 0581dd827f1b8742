import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import type { NodeLayout } from "../layout/practice-layout.ts";

const POLL_MS = 20;
const DEADLINE_MS = 20_000;

/**
 * Waits until every port of the bridges forwards: the kernel tells a bridge of a port's carrier some time after the link
 * came up, and until then the port neither hears nor says anything.
 * @throws {Fault} PRACTICE_FAILED naming a port that does not
 */
export async function portsForwarding(
  host: PracticeHost,
  bridges: readonly NodeLayout[],
  signal: AbortSignal,
): Promise<void> {
  const deadline = performance.now() + DEADLINE_MS;
  for (const { name, namespace, ports } of bridges) {
    for (;;) {
      signal.throwIfAborted();
      const { stdout } = await host.run(["bridge", "-n", namespace, "-j", "link", "show"]);
      const states = new Map(
        (JSON.parse(stdout || "[]") as readonly PortState[]).map((port) => [port.ifname, port.state]),
      );
      const late = [...ports.values()].find(({ interfaceName }) => states.get(interfaceName) !== "forwarding");
      if (late === undefined) break;
      if (performance.now() > deadline) {
        throw new Fault("PRACTICE_FAILED", `The port ${name}:${late.port} did not begin to forward within 20 s`, "");
      }
      await sleep(POLL_MS, undefined, { signal });
    }
  }
}

interface PortState {
  readonly ifname: string;
  readonly state: string;
}
