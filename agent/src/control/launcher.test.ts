import { execFile } from "node:child_process";
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, expect, test } from "vitest";

const LAUNCHER = fileURLToPath(new URL("../../bin/dyetrace-agent.mjs", import.meta.url));

let folder = "";
beforeAll(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-launcher-"));
  const program = path.join(folder, "program", "sent");
  mkdirSync(path.join(program, "dist"), { recursive: true });
  writeFileSync(
    path.join(program, "dist", "main.js"),
    'export const runAgentProgram = () => console.log("replaced");\n',
  );
  writeFileSync(path.join(program, "package.json"), '{"type":"module"}');
  writeFileSync(
    path.join(folder, "program", "current.json"),
    JSON.stringify({ folder: program, version: "9.9.9", attempts: 0 }),
  );
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const launch = (file: string, text: string): Promise<string> => {
  writeFileSync(path.join(folder, file), text);
  const argv = [LAUNCHER, "run", `--data=${folder}`, "--config", path.join(folder, file)];
  return new Promise((resolve) => execFile(process.execPath, argv, (_error, out, err) => resolve(out + err)));
};

test("the launcher: given a program that was sent once, then it runs only where the host's file allows it now", async () => {
  const [allowed, keyless, forbidden, broken] = await Promise.all([
    launch("allows.yaml", `allow-upgrade: true\nupgrade-keys: [${"A".repeat(43)}=]\n`),
    launch("keyless.yaml", "allow-upgrade: true\n"),
    launch("forbids.yaml", "allow-upgrade: false\n"),
    launch("broken.yaml", "allow-upgrade: [\n"),
  ]);
  expect(allowed).toBe("replaced\n");
  expect(keyless).toMatch(/^No credential of a controller is kept/);
  expect(forbidden).toMatch(/^No credential of a controller is kept/);
  expect(broken).toMatch(/AGENT_CONFIG_INVALID/);
});
