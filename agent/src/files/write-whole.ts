import { randomBytes } from "node:crypto";
import { closeSync, fsyncSync, openSync, renameSync, rmSync, writeFileSync } from "node:fs";
import path from "node:path";

/**
 * Puts a text in the place of a file, whole or not at all: on a disk that is full, or as the power goes, the old one stays. The
 * draft has a name that nobody can have laid a link under. (The controller has the same; the two programs share no file that
 * reads or writes.)
 * @throws {Error} the system's, such as ENOSPC
 */
export function writeWhole(file: string, text: string, mode = 0o600): void {
  const folder = path.dirname(file);
  const draft = path.join(folder, `.${path.basename(file)}.${randomBytes(6).toString("hex")}`);
  try {
    const handle = openSync(draft, "wx", mode);
    try {
      writeFileSync(handle, text); // all of it or an error, unlike a bare write
      fsyncSync(handle);
    } finally {
      closeSync(handle);
    }
    renameSync(draft, file);
    keepName(folder);
  } catch (error) {
    rmSync(draft, { force: true });
    throw error;
  }
}

/** The new name is on the disk as well. Some file systems know no fsync of a folder; the old or the new file stands there then. */
function keepName(folder: string): void {
  const handle = openSync(folder, "r");
  try {
    fsyncSync(handle);
  } catch {
  } finally {
    closeSync(handle);
  }
}
