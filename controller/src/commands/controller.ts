import { randomBytes } from "node:crypto";
import { existsSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import path from "node:path";
import { Fault, parseDurationNs } from "@dyetrace/wire";
import type { Command } from "commander";
import { pino } from "pino";
import { startController } from "../service/controller-service.ts";
import type { Retention } from "../soak/retention.ts";
import { openStore } from "../store/store.ts";
import { parseListen } from "./parse-listen.ts";
import { storePlace } from "./store-place.ts";
import { untilInterrupted } from "./until-interrupted.ts";

export function registerController(program: Command): void {
  program
    .command("controller")
    .description("The service that agents connect to and that conducts runs.")
    .option("--data <folder>", "where the key and the runs are kept", "dyetrace-data")
    .option("--store <url>", "keep the runs in this PostgreSQL database instead: postgres://user@host/name")
    .option("--listen <address>", "where it answers", "127.0.0.1:8472")
    .option("--keep-detail <time>", "keep every second of a run for this long, then stretches of 10 s", "15 min")
    .option("--keep-stretches <time>", "keep stretches of 10 s until this age, then of a minute", "2 h")
    .option(
      "--keep-runs <time>",
      "delete finished runs after this, unless a baseline names them; `all` keeps them",
      "90 d",
    )
    .action(async (options: ControllerOptions) => {
      const retention = readRetention(options);
      const agentKey = readOrMakeKey(options.data);
      const place = options.store === undefined ? { data: options.data } : { store: options.store };
      await using store = await openStore(storePlace(place));
      using interrupt = untilInterrupted();
      await using controller = await startController({
        ...parseListen(options.listen),
        agentKey,
        dataFolder: options.data,
        store,
        retention,
        log: pino({ level: process.env["DYETRACE_LOG"] ?? "info" }, pino.destination(2)),
      });
      process.stdout.write(
        [
          `The controller answers at ${controller.url}.`,
          "Start an agent on each host of the site plan:",
          `  npx dyetrace-agent run --controller ${controller.url} --key ${agentKey} --interface NAME`,
          "",
        ].join("\n"),
      );
      await interrupt.pressed;
    });
}

interface ControllerOptions {
  readonly data: string;
  readonly listen: string;
  readonly store?: string;
  readonly keepDetail: string;
  readonly keepStretches: string;
  readonly keepRuns: string;
}

/** @throws {Fault} UNIT_INVALID, OPTION_INVALID */
function readRetention({ keepDetail, keepStretches, keepRuns }: ControllerOptions): Retention {
  const fullDetailNs = parseDurationNs(keepDetail);
  const tenSecondsNs = parseDurationNs(keepStretches);
  if (tenSecondsNs < fullDetailNs) {
    throw new Fault(
      "OPTION_INVALID",
      `--keep-stretches ${keepStretches} is shorter than --keep-detail ${keepDetail}`,
      "What is no longer kept by the second is kept in stretches of 10 s first",
    );
  }
  return { fullDetailNs, tenSecondsNs, runsNs: keepRuns === "all" ? null : parseDurationNs(keepRuns) };
}

/** The key that agents present: made at the first start, readable by its owner alone. @throws {Fault} FILE_UNREADABLE */
function readOrMakeKey(folder: string): string {
  const file = path.join(folder, "agent-key");
  try {
    if (existsSync(file)) return readFileSync(file, "utf8").trim();
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    const key = randomBytes(16).toString("hex");
    writeFileSync(file, `${key}\n`, { mode: 0o600, flag: "wx" });
    return key;
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    throw new Fault(
      "FILE_UNREADABLE",
      `Cannot keep the agents' key in ${file}: ${code}`,
      "Name another folder with --data",
      { cause },
    );
  }
}
