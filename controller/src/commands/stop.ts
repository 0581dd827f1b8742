import type { Command } from "commander";
import { DEFAULT_CONTROLLER_URL } from "./arguments/default-controller-url.ts";
import { ControllerClient } from "./client/controller-client.ts";

/** `dyetrace stop`: one run, or everything that any connected agent sends. */
export function registerStop(program: Command): void {
  program
    .command("stop")
    .description("Stop a run; without one, every source of every agent that is connected.")
    .argument("[run]", "the run's id")
    .option("--controller <url>", "the controller to ask", DEFAULT_CONTROLLER_URL)
    .action(async (run: string | undefined, options: { readonly controller: string }) => {
      const client = new ControllerClient(options.controller);
      if (run !== undefined) {
        await client.abortRun(run);
        process.stdout.write(`Run ${run} is being stopped.\n`);
        return;
      }
      const { agents } = (await client.post("/api/stop")) as { readonly agents: readonly string[] };
      const who =
        agents.length === 0 ? "No agent is connected, so none was told" : `Told to stop: ${agents.join(", ")}`;
      process.stdout.write(`${who}.\nAn agent that is not connected stops by itself at the end of its hold time.\n`);
    });
}
