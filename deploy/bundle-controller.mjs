/**
 * Makes controller/dist/bundle: the `dyetrace` program and what tests start of it as processes of their own, with all that
 * they import of this repository, and some libraries, put into a few files: each command starts with a third of the processor
 * time that a thousand files take. Does nothing where the bundle is as new as what it is made from. Run by the build;
 * `node deploy/bundle-controller.mjs` does it by hand.
 */
import { existsSync, readdirSync, renameSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { bundleSchema } from "./bundle-schema.mjs";

const root = fileURLToPath(new URL("..", import.meta.url));
const compiled = path.join(root, "controller", "dist");
const bundle = path.join(compiled, "bundle");
const stamp = path.join(bundle, "main.js");
/** Kept as files of their own, at their places. */
const ENTRIES = ["main", "service/controller-service", "store/store"];
/** Plain code, many files. What has binaries, or finds its own files by their place, stays where it is. */
const TAKEN_IN = ["yaml", "commander", "kysely", "ws"];

function isFresh() {
  if (!existsSync(stamp)) return false;
  const packages = readdirSync(path.join(root, "packages")).map((name) => `packages/${name}/dist`);
  const files = [
    ...["controller/dist", "agent/dist", ...packages].map((folder) => `${folder}/.tsbuildinfo`),
    ...["package-lock.json", "deploy/bundle-controller.mjs"],
  ].map((name) => path.join(root, name));
  return files.filter(existsSync).every((file) => statSync(file).mtimeMs < statSync(stamp).mtimeMs);
}

/** Whoever looks for a file by its own place still finds it there. */
const keepPlaces = {
  name: "keep-places",
  transform(code, file) {
    if (!file.startsWith(root) || file.includes("/node_modules/") || !code.includes("import.meta.url")) return null;
    const place = path.relative(bundle, file);
    return code.replaceAll("import.meta.url", `new URL(${JSON.stringify(place)}, import.meta.url).href`);
  },
};

const isOutside = (id) =>
  !/^[./]/.test(id) &&
  !id.startsWith("@dyetrace/") &&
  !TAKEN_IN.some((name) => id === name || id.startsWith(`${name}/`));

export async function bundleController() {
  if (isFresh()) return;
  await bundleSchema();
  const making = `${bundle}.${process.pid}`;
  const { rolldown } = await import("rolldown");
  const input = Object.fromEntries(ENTRIES.map((name) => [name, path.join(compiled, `${name}.js`)]));
  const made = await rolldown({ input, external: isOutside, platform: "node", plugins: [keepPlaces] });
  // All files in one folder: a place beside it is then the same from each of them.
  await made.write({
    dir: making,
    entryFileNames: ({ name }) => `${path.basename(name)}.js`,
    chunkFileNames: "[name]-[hash].js",
  });
  await made.close();
  // Whole or not at all: somebody may be starting a program meanwhile.
  rmSync(bundle, { recursive: true, force: true });
  renameSync(making, bundle);
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await bundleController();
