/** `npm test`: prepare the clone, then the linter, the types of the tests, and every test; at the end, what took how long. */
import { spawn } from "node:child_process";
import { once } from "node:events";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { BootstrapError, prepareForTests, root } from "./bootstrap.mjs";

const SLOWEST_FILES = 10;
const results = mkdtempSync(path.join(tmpdir(), "dyetrace-test-"));
const resultsOf = (part) => path.join(results, `${part}.json`);

const vitest = (project) => [
  ...["vitest", "run", "--config", "tests/vitest.config.ts", "--project", project],
  ...["--reporter", "default", "--reporter", "./deploy/test-times.mjs"],
  ...process.argv.slice(2),
];
/** npm's `.bin` links name the tools; `npx --no` never fetches one that is missing. Without its types the rest would fail for the same reason. */
const checks = [
  { what: "Formatting and lint", args: ["biome", "check", "."] },
  { what: "Types of the tests", args: ["tsc", "-p", "tests/tsconfig.json"] },
  { what: "Types of the console", args: ["tsc", "-p", "packages/console/tsconfig.page.json"] },
];
// One after the other: pure tests on all cores would disturb the clocks of those that move packets.
const tests = [
  { part: "unit", what: "Tests: unit", args: vitest("unit") },
  {
    part: "unit, other versions of Node.js",
    what: "Tests: unit, what reaches Node.js itself, under its other versions",
    program: [process.execPath],
    // Words after `npm test --` choose tests of this version.
    args: ["deploy/unit-nodes.mjs", "--of-node"],
  },
  { part: "field", what: "Tests: field", args: vitest("field") },
  { part: "browser", what: "Tests: browser", args: vitest("browser") },
];

/** Seconds by part, in the order in which they came. */
const took = new Map();
async function time(part, work) {
  const beganMs = performance.now();
  const result = await work();
  took.set(part, (performance.now() - beganMs) / 1000);
  return result;
}

/** @returns {Promise<number>} its exit code */
async function run({ what, args, program = ["npx", "--no", "--"] }, more = {}) {
  process.stderr.write(`${what} ...\n`);
  const env = { ...process.env, ...more };
  const [command, ...words] = [...program, ...args];
  const [code] = await once(spawn(command, words, { cwd: root, stdio: "inherit", env }), "exit");
  return code ?? 1;
}

/** The last line is the sum of all parts, alone on its line. */
function tellTimes(status) {
  const told = [...took.keys()].map(resultsOf).filter((file) => existsSync(file));
  const all = told.map((file) => JSON.parse(readFileSync(file, "utf8")));
  const files = all.flatMap((one) => one.files);
  const line = (seconds, name) => `${seconds.toFixed(1).padStart(8)} s  ${name}\n`;
  const sum = (numbers) => numbers.reduce((total, one) => total + one, 0);
  process.stderr.write("\nThe slowest test files:\n");
  for (const { seconds, name } of files.toSorted((a, b) => b.seconds - a.seconds).slice(0, SLOWEST_FILES)) {
    process.stderr.write(line(seconds, path.relative(root, name)));
  }
  process.stderr.write("\nWhat took how long:\n");
  for (const [part, seconds] of took) process.stderr.write(line(seconds, part));
  process.stderr.write(line(sum([...took.values()]), "total"));
  const count = (key) => sum(files.map((file) => file[key]));
  if (count("skipped") > 0) process.stderr.write(`${count("skipped")} skipped\n`);
  const failed = count("failed") + sum(all.map(({ errors }) => errors));
  // A linter that finds something is a failure too.
  process.stdout.write(`${count("passed")} passed, ${status === 0 ? failed : Math.max(1, failed)} failed\n`);
}

/** The first failure ends it. @returns {Promise<number>} an exit code */
async function runChecks() {
  for (const check of checks) {
    const code = await run(check);
    if (code !== 0) return code;
  }
  return 0;
}

/** A test that fails says nothing of the other tests. @returns {Promise<number>} an exit code */
async function runTests() {
  let failed = 0;
  for (const { part, ...test } of tests) {
    const code = await time(part, () => run(test, { DYETRACE_TEST_TIMES: resultsOf(part) }));
    failed ||= code;
  }
  return failed;
}

let failed = 0;
try {
  const prepared = () =>
    prepareForTests(async () => {
      failed = await runChecks();
    });
  for (const sentence of await time("install, build, lint, types", prepared)) process.stderr.write(`${sentence}\n`);
} catch (error) {
  if (!(error instanceof BootstrapError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exit(1);
}
try {
  process.exitCode = failed || (await runTests());
  tellTimes(process.exitCode);
} finally {
  rmSync(results, { recursive: true, force: true });
}
