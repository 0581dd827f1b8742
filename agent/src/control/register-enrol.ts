import { hostname } from "node:os";
import { controllerAddress, PIN_FORM } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { DEFAULT_DATA_FOLDER } from "../config/agent-config.ts";
import { enrolHost } from "./enrol-host.ts";

interface EnrolOptions {
  readonly controller: string;
  readonly key?: string;
  readonly pin?: string;
  readonly name?: string;
  readonly data: string;
}

/** `dyetrace-agent enrol`: give a key that works once away for this host's own credential. */
export function registerEnrol(program: Command): void {
  program
    .command("enrol")
    .description("Make this host known to a controller; afterwards `run` needs neither address nor key.")
    .requiredOption("--controller <url>", "for example https://192.0.2.1:8472")
    .option("--key <key>", "a key that enrols one host (default: what DYETRACE_KEY holds, which no process list shows)")
    .option("--pin <pin>", "sha256//… of the controller's certificate, as the controller shows it")
    .option("--name <name>", "the agent's name in the site plan (default: this host's name)")
    .option("--data <folder>", "where the credential is kept", DEFAULT_DATA_FOLDER)
    .action(async (options: EnrolOptions) => {
      const key = options.key ?? process.env["DYETRACE_KEY"];
      if (key === undefined) throw new Fault("OPTION_INVALID", "There is no key to enrol with", "Give --key");
      controllerAddress(options.controller);
      const pin = checkPin(options.pin);
      const name = options.name ?? ownName();
      await enrolHost({ url: options.controller, pin }, key, name, options.data);
      process.stdout.write(`Enrolled at ${options.controller} as ${name}.\n`);
    });
}

/** @throws {Fault} OPTION_INVALID */
export function checkPin(pin: string | undefined): string | null {
  if (pin === undefined || pin === "") return null;
  if (PIN_FORM.test(pin)) return pin;
  throw new Fault(
    "OPTION_INVALID",
    `--pin ${pin} is no fingerprint`,
    "Copy it whole: sha256// and 44 characters, or two of them with ; between",
  );
}

export const ownName = (): string => hostname().split(".")[0] ?? "agent";
