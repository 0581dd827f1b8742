#!/usr/bin/env node
import { existsSync, statSync } from "node:fs";

const madeMs = (url) => statSync(url, { throwIfNoEntry: false })?.mtimeMs ?? 0;
/** @returns {URL} the bundle (deploy/bundle-controller.mjs), which starts sooner, unless something was compiled since */
function ownProgram() {
  const here = (name) => new URL(`../${name}`, import.meta.url);
  const packages = ["console", "locate", "measure", "picture", "pin", "practice", "schema", "site", "wire"];
  const compiled = ["dist", ...packages.map((name) => `../packages/${name}/dist`)];
  const compiledMs = Math.max(...compiled.map((folder) => madeMs(here(`${folder}/.tsbuildinfo`))));
  const bundle = here("dist/bundle/main.js");
  return madeMs(bundle) > compiledMs ? bundle : here("dist/main.js");
}

const main = ownProgram();
if (!existsSync(main)) {
  process.stderr.write("dyetrace is not built yet. Run `npm start` or `npm run build` in the repository first.\n");
  process.exit(2);
}
const { runProgram } = await import(main.href);
await runProgram(process.argv.slice(2));
