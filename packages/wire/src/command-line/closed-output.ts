/** As a shell says it of a program that ended by SIGPIPE, 13 (signal(7)). */
const EXIT_CLOSED_OUTPUT = 141;

interface Output {
  on(event: "error", listener: (error: Error & { readonly code?: string }) => void): unknown;
}

/** As much of Node's `process` as this takes. */
export interface RunningProgram {
  readonly stdout: Output;
  readonly stderr: Output;
  readonly pid: number;
  exitCode?: number | string | null | undefined;
  listenerCount(event: string): number;
  kill(pid: number, signal: string): unknown;
  exit(): unknown;
}

/**
 * Whoever reads a program's output may end first, as `head` does. Then it ends as well, and quietly: one that has something to take
 * down or to stop does that as on SIGTERM.
 */
export function endWithReader(program: RunningProgram): void {
  let isEnding = false;
  for (const output of [program.stdout, program.stderr]) {
    output.on("error", (error) => {
      if (error.code !== "EPIPE") throw error;
      if (isEnding) return;
      isEnding = true;
      program.exitCode = EXIT_CLOSED_OUTPUT;
      if (program.listenerCount("SIGTERM") > 0) program.kill(program.pid, "SIGTERM");
      else program.exit();
    });
  }
}
