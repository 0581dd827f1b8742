import { expect, test } from "vitest";
import { endWithReader, type RunningProgram } from "./closed-output.ts";

type Tell = (error: Error & { readonly code?: string }) => void;

function play(stopsOn: readonly string[]): { tell: Tell; did: string[]; program: RunningProgram } {
  const did: string[] = [];
  const listeners: Tell[] = [];
  const output = { on: (_: "error", listener: Tell) => listeners.push(listener) };
  const program: RunningProgram = {
    ...{ stdout: output, stderr: output, pid: 7 },
    listenerCount: (event) => stopsOn.filter((one) => one === event).length,
    kill: (pid, signal) => did.push(`kill ${pid} ${signal}`),
    exit: () => did.push("exit"),
  };
  endWithReader(program);
  return { tell: (error) => listeners[0]?.(error), did, program };
}

const closed = Object.assign(new Error("write EPIPE"), { code: "EPIPE" }); // errno(3)

test("endWithReader: given a reader that ended, then the program ends once, with the code of SIGPIPE", () => {
  const { tell, did, program } = play([]);
  tell(closed);
  tell(closed);
  expect([did, program.exitCode]).toEqual([["exit"], 128 + 13]);
});

test("endWithReader: given something to take down, then that is done as on SIGTERM", () => {
  const { tell, did } = play(["SIGTERM"]);
  tell(closed);
  expect(did).toEqual(["kill 7 SIGTERM"]);
});

test("endWithReader: given another trouble of the output, then it is not passed over", () => {
  const { tell, did } = play([]);
  expect(() => tell(Object.assign(new Error("no space"), { code: "ENOSPC" }))).toThrow("no space");
  expect(did).toEqual([]);
});
