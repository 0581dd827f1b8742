/**
 * Puts TypeBox, as @dyetrace/schema passes it on, into two files: 0.3 s less processor at the start of each program and
 * each agent. Does nothing where that is done. Run by the build; `node deploy/bundle-schema.mjs` does it by hand.
 */
import { existsSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

const folder = fileURLToPath(new URL("../packages/schema/dist/", import.meta.url));
const ENTRIES = ["index", "check"];

/** As the compiler writes it, the file still asks for the library. */
const isPlain = (name) => /from "typebox/.test(readFileSync(path.join(folder, `${name}.js`), "utf8"));

export async function bundleSchema() {
  if (!existsSync(folder) || !ENTRIES.some(isPlain)) return;
  const { rolldown } = await import("rolldown");
  const input = Object.fromEntries(ENTRIES.map((name) => [name, path.join(folder, `${name}.js`)]));
  const bundle = await rolldown({ input, platform: "node" });
  await bundle.write({ dir: folder, entryFileNames: "[name].js", chunkFileNames: "typebox.js" });
  await bundle.close();
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await bundleSchema();
