import { controllerAddress, PIN_FORM } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { DEFAULT_CONTROLLER_URL } from "../arguments/default-controller-url.ts";
import { readUserFile } from "../arguments/read-user-file.ts";
import { ControllerClient } from "./controller-client.ts";
import { checkToken, signInOf } from "./sign-ins.ts";

export interface AskOptions {
  readonly controller?: string;
  readonly tokenFile?: string;
  readonly pin?: string;
}

/** Which controller, and as whom: the same options on every command that asks one. */
export const withAskOptions = (command: Command): Command =>
  command
    .option("--controller <url>", `the controller to ask (default: "${DEFAULT_CONTROLLER_URL}")`)
    .option(
      "--token-file <file>",
      "a file with a token of `dyetrace token add` (default: what DYETRACE_TOKEN holds, or as you have signed in)",
    )
    .option("--pin <pin>", "sha256//… of its certificate, for one that nobody signed (default: as you have signed in)");

/** @throws {Fault} OPTION_INVALID, FILE_UNREADABLE */
export function clientOf({ controller = DEFAULT_CONTROLLER_URL, tokenFile, pin }: AskOptions): ControllerClient {
  controllerAddress(controller);
  if (pin !== undefined && !PIN_FORM.test(pin)) {
    throw new Fault("OPTION_INVALID", `--pin ${pin} is no fingerprint`, "Copy it whole: sha256// and 44 characters");
  }
  const kept = signInOf(controller);
  const token = tokenFile === undefined ? kept.token : checkToken(readUserFile(tokenFile).toString("utf8"), tokenFile);
  return new ControllerClient(controller, { pin: pin ?? kept.pin, token });
}
