import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import type { ControllerClient } from "./client/controller-client.ts";
import { stopLocally } from "./client/stop-locally.ts";

/** `dyetrace stop`: one run, or everything that any connected agent sends. */
export function registerStop(program: Command): void {
  withAskOptions(
    program
      .command("stop")
      .description("Stop a run; without one, every source of every agent that is connected.")
      .argument("[run]", "the run's id")
      .option("--data <folder>", "on the controller's own machine: its data folder, and nobody needs to sign in")
      .option("--json", "who was told, as JSON"),
  ).action(async (run: string | undefined, options: StopOptions) => {
    const { controller, data } = options;
    if (controller !== undefined && data !== undefined) {
      throw new Fault("OPTION_INVALID", "--controller and --data are two ways to the controller", "Give one of them");
    }
    const agents =
      data === undefined ? await stopThere(clientOf(options), run ?? null) : await stopLocally(data, run ?? null);
    if (options.json === true) {
      process.stdout.write(
        `${JSON.stringify({ run: run ?? null, agents: run === undefined ? agents : null }, null, 2)}\n`,
      );
      return;
    }
    if (run !== undefined) {
      process.stdout.write(`Run ${run} is being stopped.\n`);
      return;
    }
    const who = agents.length === 0 ? "No agent is connected, so none was told" : `Told to stop: ${agents.join(", ")}`;
    process.stdout.write(`${who}.\nAn agent that is not connected stops by itself at the end of its hold time.\n`);
  });
}

type StopOptions = AskOptions & { readonly data?: string; readonly json?: boolean };

async function stopThere(client: ControllerClient, run: string | null): Promise<readonly string[]> {
  if (run === null) return (await client.ask("stopEverything")).agents;
  await client.abortRun(run);
  return [];
}
