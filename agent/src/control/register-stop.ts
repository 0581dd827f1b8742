import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { releaseHost, stopHost } from "./host-stop.ts";

interface StopOptions {
  readonly data: string;
  readonly release?: true;
}

/** `dyetrace-agent stop`: the host has the last word, whatever a controller says and whether it can be reached. */
export function registerStop(program: Command): void {
  program
    .command("stop")
    .description("End whatever this host's agent is busy with, and let it begin nothing more until --release.")
    .option("--data <folder>", "the folder that the agent was started with", "dyetrace-agent-data")
    .option("--release", "let it take part in runs again")
    .action(({ data, release }: StopOptions) => {
      try {
        if (release !== true) stopHost(data);
        const was = release === true ? releaseHost(data) : true;
        const held = `Stopped: nothing is sent from this host any more. \`dyetrace-agent stop --release --data ${data}\` ends that.`;
        const free = was ? "The agent takes part in runs again." : "It was not stopped.";
        process.stdout.write(`${release === true ? free : held}\n`);
      } catch (cause) {
        const { code } = cause as NodeJS.ErrnoException;
        throw new Fault(
          "FILE_UNREADABLE",
          `Cannot write in ${data}: ${code}`,
          "Run this as the agent's user, or as root",
          {
            cause,
          },
        );
      }
    });
}
