import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";

/** A controller in a process of its own, without a store that outlasts it. */
export interface LargeController extends AsyncDisposable {
  readonly url: string;
}

const PROGRAM = fileURLToPath(new URL("large-controller.mjs", import.meta.url));

/** @param plan the practice site's, in YAML  @throws an error if it ends before it has told its address */
export async function startLargeController(plan: string, agentKey: string): Promise<LargeController> {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-large-"));
  const file = path.join(folder, "large.yaml");
  writeFileSync(file, plan);
  const child = spawn(process.execPath, [PROGRAM, file, agentKey], { stdio: ["pipe", "pipe", "inherit"] });
  const gone = once(child, "exit");
  const [told] = (await Promise.race([
    once(child.stdout, "data"),
    gone.then(([code]) => {
      throw new Error(`The controller ended with code ${code} instead of starting`);
    }),
  ])) as [Buffer];
  return {
    url: String(told).trim(),
    [Symbol.asyncDispose]: async () => {
      child.stdin.end();
      await gone;
      rmSync(folder, { recursive: true });
    },
  };
}
