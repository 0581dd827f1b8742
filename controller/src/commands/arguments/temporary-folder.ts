import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";

/** A folder of our own that goes when it is let go. */
export interface TemporaryFolder extends AsyncDisposable {
  readonly path: string;
}

export function makeTemporaryFolder(prefix: string): TemporaryFolder {
  const folder = mkdtempSync(path.join(tmpdir(), prefix));
  return { path: folder, [Symbol.asyncDispose]: async () => rmSync(folder, { recursive: true, force: true }) };
}
