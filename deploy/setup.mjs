/** `npm run setup`: npm packages, what must be compiled, and the build; then everything runs from this folder. */
import { BootstrapError, prepare } from "./bootstrap.mjs";

try {
  for (const sentence of await prepare()) process.stderr.write(`${sentence}\n`);
} catch (error) {
  if (!(error instanceof BootstrapError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exit(1);
}
