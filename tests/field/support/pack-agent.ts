import { execFileSync, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";

const REPOSITORY = fileURLToPath(new URL("../../..", import.meta.url));

/** Where a controller looks for the package that its hosts fetch, below the repository. */
export const PACKAGE_PLACE = "deploy/agent/dist";

/**
 * A package of the agent in a folder of a test's own: `npm run pack:agent`, without disturbing others that pack at the same
 * time. A controller sees it where `dist` is mounted over `PACKAGE_PLACE`.
 */
export class AgentPackage implements Disposable {
  readonly #folder = mkdtempSync(path.join(tmpdir(), "dyetrace-package-"));
  /** What is to be mounted. */
  readonly dist = path.join(this.#folder, "dist");

  constructor() {
    const argv = ["deploy/pack-agent.mjs", this.dist];
    const { status, stderr } = spawnSync(process.execPath, argv, { cwd: REPOSITORY, encoding: "utf8" });
    if (status !== 0) throw new Error(stderr);
  }

  /** Puts a package that differs in its version alone in the place of the one that was packed. */
  packAs(version: string): void {
    const unpacked = path.join(this.#folder, "unpacked");
    const file = path.join(this.dist, "dyetrace-agent.tgz");
    mkdirSync(unpacked);
    try {
      execFileSync("tar", ["-xzf", file, "-C", unpacked]);
      const source = path.join(unpacked, "dyetrace-agent", "dist", "main.js");
      writeFileSync(source, readFileSync(source, "utf8").replace(/VERSION = "[0-9.]+"/, `VERSION = "${version}"`));
      execFileSync("tar", ["-czf", file, "-C", unpacked, "dyetrace-agent"]);
      writeFileSync(`${file}.version`, `${version}\n`);
    } finally {
      rmSync(unpacked, { recursive: true });
    }
  }

  [Symbol.dispose](): void {
    rmSync(this.#folder, { recursive: true, force: true });
  }
}
