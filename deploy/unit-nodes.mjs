/**
 * `npm run unit:nodes`, by hand: every unit test under the other versions of Node.js that we name (`npm test` has this one, and the
 * main job under each). More words go to vitest: a folder of tests, for example.
 */
import { spawnSync } from "node:child_process";
import path from "node:path";
import { root } from "./bootstrap.mjs";
import { nodeFolder } from "./node-binary.mjs";

const MAJORS = [22, 24];
const vitest = path.join(root, "node_modules", "vitest", "vitest.mjs");
const config = path.join("tests", "vitest.config.ts");
const failed = MAJORS.filter((major) => {
  const folder = path.join(nodeFolder(major, process.arch), "bin");
  process.stderr.write(`Unit tests under Node.js ${major} ...\n`);
  const words = [vitest, "run", "--config", config, "--project", "unit", ...process.argv.slice(2)];
  const env = { ...process.env, PATH: `${folder}${path.delimiter}${process.env.PATH}` };
  return spawnSync(path.join(folder, "node"), words, { cwd: root, stdio: "inherit", env }).status !== 0;
});
process.stdout.write(
  failed.length === 0 ? `Held under Node.js ${MAJORS.join(" and ")}\n` : `FAILED under ${failed.join(" and ")}\n`,
);
process.exitCode = failed.length === 0 ? 0 : 1;
