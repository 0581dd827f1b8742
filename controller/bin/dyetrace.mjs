#!/usr/bin/env node
import { existsSync } from "node:fs";

const main = new URL("../dist/main.js", import.meta.url);
if (!existsSync(main)) {
  process.stderr.write("dyetrace is not built yet. Run `npm start` or `npm run build` in the repository first.\n");
  process.exit(2);
}
const { runProgram } = await import(main.href);
await runProgram(process.argv.slice(2));
