import { readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";
import { EXITS as AGENT_EXITS } from "../../agent/src/about/exits.ts";
import { EXITS as CONTROLLER_EXITS } from "../../controller/src/about/exits.ts";
import { readSourceFiles } from "./source-files.ts";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const page = readFileSync(path.join(ROOT, "deploy/exit-codes.md"), "utf8");

/** Every source that sets an exit code by what came out, with the commands that the page has it under. */
const COMMANDS: Readonly<Record<string, readonly string[]>> = {
  "controller/src/commands/run.ts": ["dyetrace run", "dyetrace run --against"],
  "controller/src/commands/practice.ts": ["dyetrace practice run", "practice exec"],
  "controller/src/commands/probe.ts": ["dyetrace probe"],
  "controller/src/commands/compare.ts": ["dyetrace compare"],
  "controller/src/commands/upgrade-check.ts": ["dyetrace upgrade-check"],
  "controller/src/commands/plan.ts": ["dyetrace plan check --against-site"],
  "controller/src/commands/audit.ts": ["dyetrace audit check"],
  "controller/src/commands/device/register-device.ts": ["dyetrace device read"],
  "agent/src/standalone/register-check.ts": ["dyetrace-agent check"],
  "agent/src/standalone/register-send.ts": ["dyetrace-agent send"],
  "agent/src/standalone/register-listen.ts": ["dyetrace-agent listen"],
  "agent/src/standalone/air/register-air.ts": ["dyetrace-agent air"],
};
/** The programs' own ends, which the tables of codes have; and what `npm start` shows, which is no command for scripts. */
const WHOLE_PROGRAM = [
  "agent/src/control/register-run.ts",
  "agent/src/main.ts",
  "controller/src/commands/arguments/until-interrupted.ts",
  "controller/src/commands/demo.ts",
  "controller/src/commands/loopback-pair.ts",
  "controller/src/main.ts",
];

test.each([
  ["dyetrace", CONTROLLER_EXITS],
  ["dyetrace-agent", AGENT_EXITS],
])("given the page of exit codes, then it has those of %s, in the program's own words", (program, exits) => {
  const [, part = ""] = page.split(`\n## ${program}\n`);
  const rows = [...(part.split("\n## ")[0] ?? "").matchAll(/^\| ([0-9]+) \| (.+) \|$/gm)];
  expect(rows.map(([, code, meaning]) => [Number(code), meaning])).toEqual(exits.map((one) => [...one]));
});

test("given every source that sets an exit code, then the page has its command, and each number is in a table", () => {
  const programs = readSourceFiles().filter(({ path: at }) => /^(agent|controller)\//.test(at));
  const sources = programs.map(({ path: at }) => ({ at, text: readFileSync(path.join(ROOT, at), "utf8") }));
  const setters = sources.filter(({ text }) => /process\.(exitCode = |exit\()/.test(text));
  expect(setters.map(({ at }) => at).toSorted()).toEqual([...Object.keys(COMMANDS), ...WHOLE_PROGRAM].sort());
  for (const command of Object.values(COMMANDS).flat()) expect(page).toContain(`\`${command}\``);
  const known = new Set([...CONTROLLER_EXITS, ...AGENT_EXITS].map(([code]) => code));
  const numbers = setters.flatMap(({ text }) => [...text.matchAll(/process\.(?:exitCode = |exit\()([0-9]+)/g)]);
  expect(numbers.length).toBeGreaterThan(4);
  for (const [, number] of numbers) expect(known).toContain(Number(number));
});
