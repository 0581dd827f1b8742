import { type ChildProcess, spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { networkInterfaces } from "node:os";
import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import { pino } from "pino";
import { PRACTICE_SAFETY } from "../plan/safety.ts";
import type { Controller } from "../service/controller-service.ts";
import { EXIT } from "./arguments/exit-codes.ts";
import { makeTemporaryFolder } from "./arguments/temporary-folder.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { ControllerClient } from "./client/controller-client.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
import { readRunFiles } from "./run.ts";

const AGENT_PROGRAM = fileURLToPath(import.meta.resolve("@dyetrace/agent/program"));
const AGENT_CONFIG = fileURLToPath(import.meta.resolve("@dyetrace/practice/agent-config"));
const demoFile = (name: string): string => fileURLToPath(import.meta.resolve(`@dyetrace/practice/demo/${name}`));
const CONNECT_WITHIN_MS = 30_000;

/** Where namespaces are not to be had: one source and one listener over the loopback interface, portable sockets. */
export async function runLoopbackPair(): Promise<void> {
  process.stderr.write(
    "Running one source and one listener over this machine's loopback interface instead. That shows that sending,\n" +
      "listening and reporting work here. It can't show snooping, leaks, membership or which segment is at fault.\n",
  );
  const { request, graph } = readRunFiles(demoFile("loopback.yaml"), demoFile("loopback-reach.yaml"), []);
  const loopback = Object.entries(networkInterfaces()).find(([, list]) => list?.some((one) => one.internal))?.[0];
  if (loopback === undefined) throw new Fault("INTERFACE_UNKNOWN", "This machine has no loopback interface", "");
  using interrupt = untilInterrupted();
  const agentKey = randomBytes(16).toString("hex");
  const { startController } = await import("../service/controller-service.ts");
  await using controller = await startController({
    host: "127.0.0.1",
    port: 0,
    agentKey,
    safety: PRACTICE_SAFETY, // nothing leaves this machine
    log: pino({ level: "warn" }),
  });
  await using agentData = makeTemporaryFolder("dyetrace-loopback-");
  using agents = new ChildProcesses();
  for (const name of ["left", "right"]) {
    const argv = [AGENT_PROGRAM, "run", "--controller", controller.url, "--key", agentKey, "--name", name];
    agents.start([
      ...argv,
      "--interface",
      loopback,
      "--sockets",
      "portable",
      "--config",
      AGENT_CONFIG,
      "--data",
      agentData.path,
    ]);
  }
  await bothConnected(controller, interrupt.signal);
  const report = await followRun(new ControllerClient(controller.url), request, { signal: interrupt.signal });
  deliverReport(report, graph);
  process.exitCode = EXIT[report.verdict];
}

async function bothConnected(controller: Controller, signal: AbortSignal): Promise<void> {
  const deadline = Date.now() + CONNECT_WITHIN_MS;
  while (controller.registry.list().length < 2) {
    signal.throwIfAborted();
    if (Date.now() > deadline) throw new Fault("AGENT_MISSING", "The two agents did not connect", "");
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

class ChildProcesses implements Disposable {
  readonly #children: ChildProcess[] = [];

  start(argv: readonly string[]): void {
    const env = { ...process.env, DYETRACE_LOG: "warn" };
    this.#children.push(
      spawn(process.execPath, argv, {
        stdio: ["ignore", "ignore", "inherit"],
        env,
      }),
    );
  }

  [Symbol.dispose](): void {
    for (const child of this.#children) child.kill("SIGTERM");
  }
}
