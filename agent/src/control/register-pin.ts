import { pinsOf } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { DEFAULT_DATA_FOLDER } from "../config/agent-config.ts";
import { keepPin, readCredential } from "./credential-file.ts";
import { checkPin } from "./register-enrol.ts";

const MOST_PINS = 2;

interface PinOptions {
  readonly add?: string;
  readonly remove?: string;
  readonly data: string;
  readonly json?: boolean;
}

/** `dyetrace-agent pin`: by which keys this host knows its controller, so that one can follow another without enrolling anew. */
export function registerPin(program: Command): void {
  program
    .command("pin")
    .description("Show by which keys this host knows its controller; add the next one, or take an old one out.")
    .option("--add <pin>", "sha256//… of the key that the controller will have")
    .option("--remove <pin>", "sha256//… of the key that it had")
    .option("--data <folder>", "where the credential is kept", DEFAULT_DATA_FOLDER)
    .option("--json", "the pins as JSON")
    .action((options: PinOptions) => {
      const kept = readCredential(options.data);
      if (kept === null) {
        throw new Fault("OPTION_INVALID", `No credential is kept in ${options.data}`, "Enrol this host first");
      }
      if (kept.pin === null) {
        throw new Fault(
          "OPTION_INVALID",
          "This host knows its controller by who signed its certificate, not by a pin",
          "",
        );
      }
      const pins = changePins(pinsOf(kept.pin), options);
      if (options.add !== undefined || options.remove !== undefined) {
        keepPin(options.data, pins.join(";"));
      }
      if (options.json === true) process.stdout.write(`${JSON.stringify({ pins }, null, 2)}\n`);
      else for (const pin of pins) process.stdout.write(`${pin}\n`);
    });
}

/** @throws {Fault} OPTION_INVALID where none would be left, or more than two */
export function changePins(
  pins: readonly string[],
  { add, remove }: { readonly add?: string; readonly remove?: string },
): readonly string[] {
  const [added, removed] = [checkPin(add), checkPin(remove)];
  const left = pins.filter((pin) => pin !== removed);
  if (removed !== null && left.length === pins.length) {
    throw new Fault(
      "OPTION_INVALID",
      `This host does not trust ${removed}`,
      "Without options the command shows what it does",
    );
  }
  const next = [...new Set([...left, ...(added === null ? [] : pinsOf(added))])];
  if (next.length === 0) {
    throw new Fault(
      "OPTION_INVALID",
      "No key would be left by which this host knows its controller",
      "Add the next one first",
    );
  }
  if (next.length <= MOST_PINS) return next;
  throw new Fault("OPTION_INVALID", `A host keeps at most ${MOST_PINS} pins`, "Take an old one out with --remove");
}
