/**
 * `npm run unit:nodes`, by hand: every unit test under the other versions of Node.js that we name. `npm test` has all of them under
 * this one, the main job under each, and with `--of-node` those whose code reaches Node.js itself: sockets, threads, files, SQLite,
 * TLS. What is left out is arithmetic and text, which the language alone decides. Other words go to vitest: a folder of tests, for example.
 */
import { spawnSync } from "node:child_process";
import path from "node:path";
import { root } from "./bootstrap.mjs";
import { nodeFolder } from "./node-binary.mjs";

const MAJORS = [22, 24].filter((major) => major !== Number(process.versions.node.split(".")[0]));
const OF_NODE = [
  ...["agent/src", "packages/pin", "packages/wire"],
  ...["access", "files", "sqlite", "store"].map((folder) => `controller/src/${folder}`),
];
const words = process.argv.slice(2).flatMap((word) => (word === "--of-node" ? OF_NODE : word));
const vitest = path.join(root, "node_modules", "vitest", "vitest.mjs");
const config = path.join("tests", "vitest.config.ts");
const failed = MAJORS.filter((major) => {
  const folder = path.join(nodeFolder(major, process.arch), "bin");
  process.stderr.write(`Unit tests under Node.js ${major} ...\n`);
  const argv = [vitest, "run", "--config", config, "--project", "unit", ...words];
  const env = { ...process.env, PATH: `${folder}${path.delimiter}${process.env.PATH}` };
  return spawnSync(path.join(folder, "node"), argv, { cwd: root, stdio: "inherit", env }).status !== 0;
});
process.stdout.write(
  failed.length === 0 ? `Held under Node.js ${MAJORS.join(" and ")}\n` : `FAILED under ${failed.join(" and ")}\n`,
);
process.exitCode = failed.length === 0 ? 0 : 1;
