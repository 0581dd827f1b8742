import { writeFileSync } from "node:fs";
import { cannotWrite } from "@dyetrace/wire/command-line/file-fault";

/** @param file `-` is standard output @throws {Fault} FILE_UNREADABLE */
export function writeUserFile(file: string, text: string | Uint8Array): void {
  if (file === "-") {
    process.stdout.write(text);
    return;
  }
  try {
    writeFileSync(file, text);
  } catch (cause) {
    throw cannotWrite(file, cause);
  }
}
