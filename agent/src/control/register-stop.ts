import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { DEFAULT_DATA_FOLDER } from "../config/agent-config.ts";
import { releaseHost, stopHost } from "../config/host-stop.ts";

interface StopOptions {
  readonly data: string;
}

/** `dyetrace-agent stop` and `allow`: the host has the last word, whatever a controller says and whether it can be reached. */
export function registerStop(program: Command): void {
  const inFolder = (command: Command): Command =>
    command.option("--data <folder>", "the folder that the agent was started with", DEFAULT_DATA_FOLDER);
  inFolder(
    program
      .command("stop")
      .description("End whatever this host's agent is busy with, and let it begin nothing more until `allow`."),
  ).action(({ data }: StopOptions) =>
    say(data, () => {
      stopHost(data);
      return `Stopped: nothing is sent from this host any more. \`dyetrace-agent allow --data ${data}\` ends that.`;
    }),
  );
  inFolder(program.command("allow").description("Let this host's agent take part in runs again, after `stop`.")).action(
    ({ data }: StopOptions) =>
      say(data, () => (releaseHost(data) ? "The agent takes part in runs again." : "It was not stopped.")),
  );
}

/** @throws {Fault} FILE_UNREADABLE where the folder can't be written to */
function say(data: string, work: () => string): void {
  try {
    process.stdout.write(`${work()}\n`);
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    const hint = "Run this as the agent's user, or as root";
    throw new Fault("FILE_UNREADABLE", `Cannot write in ${data}: ${code}`, hint, { cause });
  }
}
