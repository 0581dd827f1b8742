/** `npm test`: prepare the clone, then the linter, the types of the tests, and every test; at the end, what took how long. */
import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { BootstrapError, prepareForTests, root } from "./bootstrap.mjs";

const SLOWEST_FILES = 10;
const results = mkdtempSync(path.join(tmpdir(), "dyetrace-test-"));
const resultsOf = (part) => path.join(results, `${part}.json`);

const vitest = (part, projects) => [
  ...["vitest", "run", "--config", "tests/vitest.config.ts", "--project", projects],
  ...["--reporter", "default", "--reporter", "json", "--outputFile.json", resultsOf(part)],
  ...process.argv.slice(2),
];
/** npm's `.bin` links name the tools; `npx --no` never fetches one that is missing. */
const steps = [
  { part: "lint", what: "Formatting and lint", args: ["biome", "check", "."] },
  { part: "types", what: "Types of the tests", args: ["tsc", "-p", "tests/tsconfig.json"] },
  { part: "types", what: "Types of the console", args: ["tsc", "-p", "packages/console/tsconfig.page.json"] },
  // One after the other: pure tests on all cores would disturb the clocks of those that move packets.
  { part: "unit", what: "Tests: unit", args: vitest("unit", "unit") },
  { part: "field", what: "Tests: field", args: vitest("field", "field") },
  { part: "browser", what: "Tests: browser", args: vitest("browser", "browser") },
];

/** Seconds by part, in the order in which they came. */
const took = new Map();
function time(part, work) {
  const beganMs = performance.now();
  const result = work();
  took.set(part, (took.get(part) ?? 0) + (performance.now() - beganMs) / 1000);
  return result;
}

function readResults(part) {
  return existsSync(resultsOf(part)) ? JSON.parse(readFileSync(resultsOf(part), "utf8")) : null;
}

/** The last line is the sum of all parts, alone on its line. */
function tellTimes() {
  const all = [...took.keys()].flatMap((part) => readResults(part) ?? []);
  const files = all.flatMap(({ testResults }) => testResults);
  const seconds = ({ startTime, endTime }) => (endTime - startTime) / 1000;
  const line = (time, name) => `${time.toFixed(1).padStart(8)} s  ${name}\n`;
  process.stderr.write("\nThe slowest test files:\n");
  for (const file of files.toSorted((a, b) => seconds(b) - seconds(a)).slice(0, SLOWEST_FILES)) {
    process.stderr.write(line(seconds(file), path.relative(root, file.name)));
  }
  process.stderr.write("\nWhat took how long:\n");
  for (const [part, time] of took) process.stderr.write(line(time, part));
  process.stderr.write(
    line(
      [...took.values()].reduce((sum, time) => sum + time, 0),
      "total",
    ),
  );
  const count = (key) => all.reduce((sum, one) => sum + one[key], 0);
  // A file that could not even begin has no test that failed.
  const failed = Math.max(count("numFailedTests"), files.filter(({ status }) => status === "failed").length);
  const skipped = count("numPendingTests") + count("numTodoTests");
  if (skipped > 0) process.stderr.write(`${skipped} skipped\n`);
  process.stdout.write(`${count("numPassedTests")} passed, ${failed} failed\n`);
}

function runSteps() {
  for (const { part, what, args } of steps) {
    process.stderr.write(`${what} ...\n`);
    const { status } = time(part, () => spawnSync("npx", ["--no", "--", ...args], { cwd: root, stdio: "inherit" }));
    if (status !== 0) return status ?? 1;
  }
  return 0;
}

try {
  for (const sentence of time("install and build", prepareForTests)) process.stderr.write(`${sentence}\n`);
} catch (error) {
  if (!(error instanceof BootstrapError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exit(1);
}
try {
  process.exitCode = runSteps();
  tellTimes();
} finally {
  rmSync(results, { recursive: true, force: true });
}
