import { createInterface } from "node:readline/promises";
import { Writable } from "node:stream";
import { text } from "node:stream/consumers";

/** Asks on a terminal without showing what is typed; otherwise the first line of standard input. */
export async function readPassword(): Promise<string> {
  if (!process.stdin.isTTY) return (await text(process.stdin)).split(/\r?\n/)[0] ?? "";
  process.stderr.write("Password: ");
  const nowhere = new Writable({ write: (_chunk, _encoding, done) => done() });
  const asking = createInterface({ input: process.stdin, output: nowhere, terminal: true });
  try {
    return await asking.question("");
  } finally {
    asking.close();
    process.stderr.write("\n");
  }
}
