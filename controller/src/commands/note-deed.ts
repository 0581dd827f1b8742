import { userInfo } from "node:os";
import { AuditFile } from "../audit/audit-file.ts";

/**
 * Puts what a command did beside a controller into its trail. Where that takes no entry the deed stands, and that is said.
 * @param folder the controller's data folder
 */
export function noteDeed(folder: string, what: string): void {
  try {
    new AuditFile(folder).append({ at: new Date().toISOString(), who: userHere(), from: "command line", what });
  } catch (error) {
    process.stderr.write(`The trail of who did what takes no entries: ${String(error)}\n`);
  }
}

/** Whom the system knows, and who became root by sudo; the latter is that program's word. */
export function userHere(): string {
  const behind = process.env["SUDO_USER"];
  return `${nameOfUser()}${behind === undefined ? "" : ` (sudo by ${behind.slice(0, 64)})`} on this machine`;
}

function nameOfUser(): string {
  try {
    return userInfo().username;
  } catch {
    return `user ${process.getuid?.() ?? "unknown"}`; // one without an entry in passwd, as in containers
  }
}
