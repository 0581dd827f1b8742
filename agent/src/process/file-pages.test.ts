import { expect, test } from "vitest";
import { unchangedMappings } from "./file-pages.ts";

const NODE = "/usr/lib/a folder/node";
const part = (head: string, anonymousKB: number) =>
  `${head}\nSize: 100 kB\nRss: 100 kB\nAnonymous:  ${anonymousKB} kB\nAnonHugePages:  0 kB\nVmFlags: rd mr mw me sd\n`;

// The form of proc(5), /proc/pid/smaps; the lines of a Node.js process, shortened.
const SMAPS = [
  part(`0074d000-03082000 r-xp 0034d000 fe:00 1307 ${NODE}`, 0),
  part(`03200000-03201000 r-xp 02e00000 fe:00 1307 ${NODE}`, 4), // somebody has put code into it
  part(`03201000-06b83000 r--p 02e01000 fe:00 1307 ${NODE}`, 0),
  part(`06b83000-06b87000 r--p 06782000 fe:00 1307 ${NODE}`, 16), // relocated by the linker
  part(`06b87000-06bad000 rw-p 06786000 fe:00 1307 ${NODE}`, 0),
  part(`07000000-07001000 r--s 00000000 fe:00 1307 ${NODE}`, 0),
  part("7f0000000000-7f0000001000 r--p 00000000 fe:00 77 /usr/lib/other.so", 0),
  part("7f0000008000-7f0000009000 r-xp 00000000 00:00 0 [vdso]", 0),
  part("7f000000a000-7f000000b000 r--p 00000000 00:00 0", 0),
].join("");

test("unchangedMappings: given a process's memory, then only what the file has just as it is there, and nothing that was written to", () => {
  expect(unchangedMappings(SMAPS, NODE)).toEqual([
    { start: 0x74d000, sizeBytes: 0x03082000 - 0x74d000 },
    { start: 0x3201000, sizeBytes: 0x6b83000 - 0x3201000 },
  ]);
});
