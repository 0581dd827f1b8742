import { spawnSync } from "node:child_process";

/** `npm run pack:agent`: what hosts fetch from a controller. */
export function packAgent(): void {
  const cwd = new URL("../../..", import.meta.url).pathname;
  const { status, stderr } = spawnSync(process.execPath, ["deploy/pack-agent.mjs"], { cwd, encoding: "utf8" });
  if (status !== 0) throw new Error(stderr);
}
