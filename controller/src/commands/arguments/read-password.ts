import { createInterface } from "node:readline/promises";
import { Writable } from "node:stream";
import { text } from "node:stream/consumers";
import { Fault } from "@dyetrace/wire";

/** All that comes on standard input, line by line. */
export const readLines = async (): Promise<readonly string[]> => (await text(process.stdin)).split(/\r?\n/);

/**
 * Asks on a terminal without showing what is typed; otherwise the first line of standard input. Looked at and left:
 * @inquirer/password and the latest `read` ask for a later Node; read 4 never comes back from Ctrl-D.
 * @throws {Fault} OPTION_INVALID where whoever is asked goes away
 */
export async function readPassword(question: string = "Password: "): Promise<string> {
  if (!process.stdin.isTTY) return (await readLines())[0] ?? "";
  process.stderr.write(question);
  const nowhere = new Writable({ write: (_chunk, _encoding, done) => done() });
  const asking = createInterface({ input: process.stdin, output: nowhere, terminal: true });
  try {
    return await asking.question("");
  } catch (cause) {
    throw new Fault("OPTION_INVALID", "No password was given", "Type it, or send it to standard input", { cause });
  } finally {
    asking.close();
    process.stderr.write("\n");
  }
}
