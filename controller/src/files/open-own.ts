import { closeSync, constants, fchownSync, fstatSync, openSync, statSync } from "node:fs";
import path from "node:path";

const { O_RDWR, O_CREAT, O_NOFOLLOW, O_NONBLOCK } = constants;

/**
 * Opens a file to read and write, made where there is none. Never through a link, which whom the folder belongs to could have
 * laid for root; and left to them.
 * @param more flags of open(2) beside those @returns its descriptor @throws {Error} the system's, such as ELOOP for a link
 */
export function openOwn(file: string, more = 0): number {
  const handle = openSync(file, O_RDWR | O_CREAT | O_NOFOLLOW | O_NONBLOCK | more, 0o600);
  try {
    const folder = path.dirname(file);
    if (fstatSync(handle).uid !== statSync(folder).uid) leaveToFolder(handle, folder);
    return handle;
  } catch (error) {
    closeSync(handle);
    throw error;
  }
}

/** What a command that root runs writes is left to whom the folder belongs: the program that runs there has to read it. */
export function leaveToFolder(handle: number, folder: string): void {
  if (process.getuid?.() !== 0) return;
  const { uid, gid } = statSync(folder);
  fchownSync(handle, uid, gid);
}
