/** `npm start`: prepare the clone, then the main job on the practice site, in this same process. */
import { BootstrapError, prepare } from "./bootstrap.mjs";

try {
  for (const sentence of await prepare()) process.stderr.write(`${sentence}\n`);
} catch (error) {
  if (!(error instanceof BootstrapError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exit(2);
}
const { runProgram } = await import("../controller/dist/main.js");
await runProgram(["demo", ...process.argv.slice(2)]);
