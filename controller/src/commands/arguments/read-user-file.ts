import { readFileSync } from "node:fs";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";

/** A file that the user named, as bytes. @throws {Fault} FILE_UNREADABLE */
export function readUserFile(file: string): Buffer {
  try {
    return readFileSync(file);
  } catch (cause) {
    throw cannotRead(file, cause);
  }
}
