import { controllerAddress } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { readPassword } from "./arguments/read-password.ts";
import { ControllerClient, refuseInClear } from "./client/controller-client.ts";
import { forgetSignIn, keepSignIn } from "./client/sign-ins.ts";

/** `dyetrace sign-in` and `sign-out`: for the commands that talk to a controller on another machine. */
export function registerSignInCommand(program: Command): void {
  program
    .command("sign-in")
    .description("Sign in to a controller; the commands that talk to it then do so in your name.")
    .argument("<name>", "your name there")
    .requiredOption("--controller <url>", "for example https://192.0.2.1:8472")
    .option("--pin <pin>", "sha256//… of its certificate, as the controller shows it; for one that nobody signed")
    .action(async (name: string, options: { controller: string; pin?: string }) => {
      refuseInClear(controllerAddress(options.controller));
      const pin = options.pin ?? null;
      const client = new ControllerClient(options.controller, { pin, token: null });
      const password = await readPassword();
      const { token, operator } = await client.ask("signIn", { body: { name, password } });
      keepSignIn(options.controller, { pin, token });
      process.stderr.write(`Signed in as ${name}, to ${operator.role}.\n`);
    });
  program
    .command("sign-out")
    .description("Sign out of a controller.")
    .requiredOption("--controller <url>")
    .action(async (options: { controller: string }) => {
      await new ControllerClient(controllerAddress(options.controller))
        .ask("signOut", { body: {} })
        .catch((error: unknown) => {
          if (!(error instanceof Fault)) throw error; // it is forgotten here in any case
        });
      forgetSignIn(options.controller);
    });
}
