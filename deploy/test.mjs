/** `npm test`: prepare the clone, then the linter, the types of the tests, and every test. */
import { spawnSync } from "node:child_process";
import { BootstrapError, prepareForTests, root } from "./bootstrap.mjs";

/** npm's `.bin` links name the tools; `npx --no` never fetches one that is missing. */
const steps = [
  { what: "Formatting and lint", args: ["biome", "check", "."] },
  { what: "Types of the tests", args: ["tsc", "-p", "tests/tsconfig.json"] },
  { what: "Types of the console", args: ["tsc", "-p", "packages/console/tsconfig.page.json"] },
  // One after the other: pure tests on all cores would disturb the clocks of those that move packets.
  ...["unit", "field", "browser"].map((project) => ({
    what: `Tests: ${project}`,
    args: ["vitest", "run", "--config", "tests/vitest.config.ts", "--project", project, ...process.argv.slice(2)],
  })),
];

try {
  for (const sentence of prepareForTests()) process.stderr.write(`${sentence}\n`);
} catch (error) {
  if (!(error instanceof BootstrapError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exit(1);
}
for (const { what, args } of steps) {
  process.stderr.write(`${what} ...\n`);
  const { status } = spawnSync("npx", ["--no", "--", ...args], {
    cwd: root,
    stdio: "inherit",
  });
  if (status !== 0) process.exit(status ?? 1);
}
