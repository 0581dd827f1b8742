import { writeFileSync } from "node:fs";
import { Fault } from "@dyetrace/wire";

/** @param file `-` is standard output @throws {Fault} FILE_UNREADABLE */
export function writeUserFile(file: string, text: string | Uint8Array): void {
  if (file === "-") {
    process.stdout.write(text);
    return;
  }
  try {
    writeFileSync(file, text);
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    const why = code === "ENOSPC" ? "the disk is full" : code === "ENOENT" ? "there is no such folder" : String(code);
    throw new Fault("FILE_UNREADABLE", `Cannot write ${file}: ${why}`, "", { cause });
  }
}
