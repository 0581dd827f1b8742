import { readFileSync, readlinkSync } from "node:fs";
import { adviseUnneeded } from "../sockets/linux/libc.ts";

/** Addresses of this process. */
export interface Mapping {
  readonly start: number;
  readonly sizeBytes: number;
}

/** They stay as they are while the process lives. */
let ofNode: readonly Mapping[] | undefined;

/**
 * Takes Node.js's own file out of this process's memory, as the kernel does where memory is short: what was needed once, at the start
 * of the program or of a thread, stays out, and what is touched again comes back from the kernel's own copy, a microsecond for each
 * piece of 64 KB and more. Another program that runs the same file loses nothing.
 */
export function letGoOfFilePages(): void {
  ofNode ??= mappingsOfNode();
  for (const { start, sizeBytes } of ofNode) adviseUnneeded(start, sizeBytes);
}

function mappingsOfNode(): readonly Mapping[] {
  try {
    return unchangedMappings(readFileSync("/proc/self/smaps", "utf8"), readlinkSync("/proc/self/exe"));
  } catch {
    return []; // no Linux, or no /proc
  }
}

/**
 * Where a file is in memory just as it is: in what nobody may write to, and nobody has written to (what the linker changed at the
 * start is of that kind now as well, and would be lost).
 * @param smaps text of /proc/PID/smaps (proc(5)) @param file as it is called there
 */
export function unchangedMappings(smaps: string, file: string): readonly Mapping[] {
  return smaps.split(/^(?=[0-9a-f]+-[0-9a-f]+ )/m).flatMap((part) => {
    const [, from = "", to = "", name] = /^([0-9a-f]+)-([0-9a-f]+) r-[-x]p \S+ \S+ [1-9]\d* +(.+)$/m.exec(part) ?? [];
    if (name !== file || !/^Anonymous: +0 kB$/m.test(part)) return [];
    const start = Number.parseInt(from, 16);
    return [{ start, sizeBytes: Number.parseInt(to, 16) - start }];
  });
}
