import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { text } from "node:stream/consumers";
import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";

const PROGRAM = fileURLToPath(new URL("./failing-start.mjs", import.meta.url));
/** A process that has nothing open ends as soon as its last line has run. */
const ENDS_WITHIN_MS = 20_000;

test.each([
  { step: "access", failure: "ACCESS_INVALID" },
  { step: "plan", failure: "SITE_PLAN_INVALID" },
  { step: "routes", failure: "a route that cannot be" },
  { step: "pick-up", failure: "the disk is gone" },
  { step: "schedule", failure: "the disk is gone" },
  { step: "port", failure: "PORT_TAKEN" },
  { step: "none", failure: null },
])(
  "a controller's start: given that it fails at $step, then that is told, runs stay as they were, and the process ends by itself",
  async ({ step, failure }) => {
    const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-start-"));
    try {
      const child = spawn(process.execPath, [PROGRAM, folder, step], { stdio: ["ignore", "pipe", "inherit"] });
      const killer = setTimeout(() => child.kill("SIGKILL"), ENDS_WITHIN_MS);
      const [said, [code, signal]] = await Promise.all([text(child.stdout), once(child, "exit")]);
      clearTimeout(killer);
      expect([code, signal]).toEqual([0, null]);
      expect(JSON.parse(said)).toMatchObject({ failure, states: ["running", "scheduled"] });
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  },
);
