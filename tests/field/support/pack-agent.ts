import { execFileSync, spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";

const PACKAGE = new URL("../../../deploy/agent/dist/dyetrace-agent.tgz", import.meta.url).pathname;

/** `npm run pack:agent`: what hosts fetch from a controller. */
export function packAgent(): void {
  const cwd = new URL("../../..", import.meta.url).pathname;
  const { status, stderr } = spawnSync(process.execPath, ["deploy/pack-agent.mjs"], { cwd, encoding: "utf8" });
  if (status !== 0) throw new Error(stderr);
}

/** Puts a package that differs in its version alone in the place of the one that was packed. */
export function packAgentAs(version: string): void {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-package-"));
  try {
    execFileSync("tar", ["-xzf", PACKAGE, "-C", folder]);
    const file = path.join(folder, "dyetrace-agent", "dist", "version.js");
    writeFileSync(file, readFileSync(file, "utf8").replace(/"[0-9.]+"/, `"${version}"`));
    execFileSync("tar", ["-czf", PACKAGE, "-C", folder, "dyetrace-agent"]);
    writeFileSync(`${PACKAGE}.version`, `${version}\n`);
  } finally {
    rmSync(folder, { recursive: true });
  }
}
