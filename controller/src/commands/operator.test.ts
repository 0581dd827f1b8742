import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { Command } from "commander";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { AuditFile } from "../audit/audit-file.ts";
import { registerOperator } from "./operator.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-operator-"));
  vi.spyOn(process.stdout, "write").mockReturnValue(true);
  vi.spyOn(process.stderr, "write").mockReturnValue(true);
});
afterEach(() => {
  vi.restoreAllMocks();
  rmSync(folder, { recursive: true, force: true });
});

async function run(...argv: readonly string[]): Promise<void> {
  const program = new Command();
  registerOperator(program);
  await program.parseAsync(["operator", ...argv, "--data", folder], { from: "user" });
}

test("dyetrace operator: given an operator who is added, given another role and removed on the controller's machine, then the trail says each, from where, and who did it", async () => {
  await run("add", "anna", "--role", "view", "--draw-password");
  await run("add", "anna", "--role", "operate", "--draw-password");
  await run("remove", "anna");
  const entries = [...new AuditFile(folder).lines()].map((line) => JSON.parse(line) as Record<string, string>);
  expect(entries.map(({ what, from }) => [what, from])).toEqual([
    ["added operator anna, to view", "command line"],
    ["gave another role or password to operator anna, to operate", "command line"],
    ["removed operator anna", "command line"],
  ]);
  for (const { who } of entries) expect(who).toMatch(/\S/);
});
