import { randomBytes } from "node:crypto";
import { hostname } from "node:os";
import path from "node:path";
import { parseSizeBytes } from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { pino } from "pino";
import { readAgentConfig } from "../config/read-agent-config.ts";
import { openDataPlane } from "../data-plane/open-data-plane.ts";
import { openWatcher } from "../watcher/open-watcher.ts";
import { startAgentService } from "./agent-service.ts";
import { chooseInterface } from "./choose-interface.ts";

interface RunOptions {
  readonly controller: string;
  readonly key: string;
  readonly name?: string;
  readonly interface?: string;
  readonly config?: string;
  readonly data: string;
  readonly spoolLimit: string;
  readonly sockets: "auto" | "linux" | "portable";
}

/** `dyetrace-agent run`: join a controller and do what it asks, within this host's own guards. */
export function registerRun(program: Command): void {
  program
    .command("run")
    .description("Join a controller and carry out its runs, within the limits of this host's own file.")
    .requiredOption("--controller <url>", "for example http://192.0.2.1:8472")
    .requiredOption("--key <key>", "what the controller's operator gave you")
    .option("--name <name>", "the agent's name in the site plan (default: this host's name)")
    .option("--interface <name>", "the interface to the tested network (default: the only one there is)")
    .option("--config <file>", "this host's own limits (default: /etc/dyetrace/agent.yaml; without it sending is off)")
    .option("--data <folder>", "where reports wait while no controller takes them", "dyetrace-agent-data")
    .option("--spool-limit <size>", "how much room they may take there", "256 MB")
    .addOption(
      new Option("--sockets <kind>", "how to reach the network").choices(["auto", "linux", "portable"]).default("auto"),
    )
    .action(async (options: RunOptions) => {
      const config = readAgentConfig(options.config);
      const name = options.name ?? hostname().split(".")[0] ?? "agent";
      const log = pino({ level: process.env["DYETRACE_LOG"] ?? "info" }, pino.destination(2));
      const interfaceName = options.interface ?? chooseInterface();
      const watcher = await openWatcher({ interfaceName });
      if (watcher.inability !== null) log.warn(`${watcher.inability.message}. ${watcher.inability.hint}`);
      const dataPlane = await openDataPlane({
        interfaceName,
        sockets: options.sockets,
        guards: config.guards,
        contact: config.contact,
        drawSenderId: () => randomBytes(4).readUInt32BE(),
      });
      const service = startAgentService({
        controllerUrl: options.controller,
        key: options.key,
        name,
        dataPlane,
        watcher,
        log,
        spoolFolder: path.join(options.data, name),
        spoolMostBytes: parseSizeBytes(options.spoolLimit),
      });
      const stop = (): void => void service.close();
      process.once("SIGINT", stop);
      process.once("SIGTERM", stop);
      try {
        await service.done;
      } finally {
        await service.close();
      }
    });
}
