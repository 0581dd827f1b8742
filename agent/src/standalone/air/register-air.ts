import { writeFileSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import { cannotWrite } from "@dyetrace/wire/command-line/file-fault";
import type { Command } from "commander";
import { airCsv, describeAir } from "./describe-air.ts";
import { readAirFile } from "./read-air-file.ts";

interface AirOptions {
  readonly json?: string;
  readonly csv?: string;
}

/** `dyetrace-agent air FILE`. Exit code 1 where the file is damaged behind what could be read. */
export function registerAir(program: Command): void {
  program
    .command("air")
    .description(
      "Say what a monitor-mode capture shows of multicast over the air: group by group, as multicast or unicast.",
    )
    .argument("<file>", "a pcap or pcapng file with IEEE 802.11 frames")
    .option("--json <file>", "write it as JSON; - for standard output")
    .option("--csv <file>", "write it as CSV; - for standard output")
    .action(async (file: string, options: AirOptions) => {
      if (options.json === "-" && options.csv === "-") {
        throw new Fault(
          "OPTION_INVALID",
          "JSON and CSV can't both go to standard output",
          "Name a file for one of them.",
        );
      }
      const reading = await readAirFile(file);
      const isShown = options.json !== "-" && options.csv !== "-";
      if (options.json !== undefined) write(options.json, `${JSON.stringify(reading, null, 2)}\n`);
      if (options.csv !== undefined) write(options.csv, airCsv(reading));
      if (isShown) process.stdout.write(describeAir(file, reading));
      if (reading.problem === null) return;
      if (!isShown) {
        const { offset, sentence } = reading.problem;
        process.stderr.write(`${file} is damaged at byte ${offset}: ${sentence}. What came before it is told.\n`);
      }
      process.exitCode = 1;
    });
}

function write(file: string, text: string): void {
  if (file === "-") {
    process.stdout.write(text);
    return;
  }
  try {
    writeFileSync(file, text);
  } catch (cause) {
    throw cannotWrite(file, cause);
  }
}
