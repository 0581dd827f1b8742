import { readFileSync } from "node:fs";
import { Fault } from "@dyetrace/wire";

/** A file that the user named, as bytes. @throws {Fault} FILE_UNREADABLE */
export function readUserFile(file: string): Buffer {
  try {
    return readFileSync(file);
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    const why = code === "ENOENT" ? "there is no such file" : code === "EISDIR" ? "it is a folder" : String(code);
    throw new Fault("FILE_UNREADABLE", `Cannot read ${file}: ${why}`, "", {
      cause,
    });
  }
}
