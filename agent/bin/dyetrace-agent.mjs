#!/usr/bin/env node
import { existsSync } from "node:fs";

const main = new URL("../dist/main.js", import.meta.url);
if (!existsSync(main)) {
  process.stderr.write(
    "dyetrace-agent is not built yet. Run `npm start` or `npm run build` in the repository first.\n",
  );
  process.exit(2);
}
const { runAgentProgram } = await import(main.href);
await runAgentProgram(process.argv.slice(2));
