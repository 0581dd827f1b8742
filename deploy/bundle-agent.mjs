/**
 * Makes agent/dist/bundle: the agent's program as its package has it, with all that it imports (but koffi, which has
 * binaries) put into a file for the program and one for each of its threads, in short and in ASCII: V8 keeps a program's text,
 * with two bytes for each letter where a single one needs them. It starts with a third of the processor time
 * that hundreds of files take; practice sites start it too, so that they run what hosts get. DYETRACE_UNBUNDLED=1 starts the
 * files themselves, which have names in their stack traces. Does nothing where the bundle is as new as what it is made from. Run by the build; `node deploy/bundle-agent.mjs` does it by hand.
 */
import { cpSync, existsSync, mkdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { bundleSchema } from "./bundle-schema.mjs";

const root = fileURLToPath(new URL("..", import.meta.url));
const compiled = path.join(root, "agent", "dist");
const schema = path.join(root, "packages", "schema", "dist");
export const bundle = path.join(compiled, "bundle");
const stamp = path.join(bundle, "dist", "main.js");
/** Kept as files of their own, at their places: the program and its threads. */
const ENTRIES = [
  "main",
  "listener/linux-follower-worker",
  "listener/linux-listener-worker",
  "listener/portable-listener-worker",
  "sender/linux-sender-worker",
  "sender/portable-sender-worker",
  "standalone/follow/linux-follow-worker",
  "standalone/follow/portable-follow-worker",
  "watcher/watcher-worker",
];
/** What the compiler touches when any file of a package has changed. */
const MADE_FROM = ["agent", "packages/measure", "packages/pin", "packages/schema", "packages/wire"];

/** What it takes in as it is. */
const TAKEN = ["agent/bin/dyetrace-agent.mjs", "agent/package.json", "package-lock.json", "deploy/bundle-agent.mjs"];

function isFresh() {
  if (!existsSync(stamp)) return false;
  const files = [...MADE_FROM.map((part) => `${part}/dist/.tsbuildinfo`), ...TAKEN].map((name) =>
    path.join(root, name),
  );
  return files.every((file) => existsSync(file) && statSync(file).mtimeMs < statSync(stamp).mtimeMs);
}

/** Whoever starts a thread by a path beside its own file still finds it from the bundle's top folder, where its code is now. */
const keepPlaces = {
  name: "keep-places",
  transform(code, file) {
    if (!file.startsWith(compiled)) return null;
    return code.replaceAll("import.meta.url", `new URL("./${path.relative(compiled, file)}", import.meta.url)`);
  },
};

export async function bundleAgent() {
  if (isFresh()) return;
  await bundleSchema();
  const making = `${bundle}.${process.pid}`;
  const { rolldown } = await import("rolldown");
  const input = Object.fromEntries(ENTRIES.map((name) => [name, path.join(compiled, `${name}.js`)]));
  const external = [/^koffi$/, /^@koromix\//];
  const made = await rolldown({ input, external, platform: "node", plugins: [keepPlaces] });
  const { output } = await made.write({
    dir: path.join(making, "dist"),
    entryFileNames: "[name].js",
    chunkFileNames: "[name]-[hash].js",
    minify: true,
    charset: "ascii",
  });
  await made.close();
  mkdirSync(path.join(making, "bin"));
  cpSync(path.join(root, "agent", "bin"), path.join(making, "bin"), { recursive: true });
  const { name, version, license, type, bin } = JSON.parse(
    readFileSync(path.join(root, "agent", "package.json"), "utf8"),
  );
  writeFileSync(
    path.join(making, "package.json"),
    `${JSON.stringify({ name, version, license, type, bin }, null, 2)}\n`,
  );
  const inside = librariesOf(output.flatMap(({ moduleIds }) => moduleIds ?? []));
  writeFileSync(path.join(making, "LICENSES.txt"), licences(inside));
  const facts = inside.map(({ name, version, license }) => ({ name, version, license }));
  writeFileSync(path.join(making, "libraries.json"), `${JSON.stringify(facts, null, 2)}\n`);
  // Whole or not at all: somebody may be starting an agent meanwhile.
  rmSync(bundle, { recursive: true, force: true });
  renameSync(making, bundle);
}

/** The libraries that are inside, by the files that went in. @param {string[]} files */
function librariesOf(files) {
  const homes = new Set(files.flatMap((file) => /^(.*\/node_modules\/(?:@[^/]+\/)?[^/]+)\//.exec(file)?.[1] ?? []));
  // The schema library was put into files of ours before (bundle-schema.mjs).
  if (files.some((file) => file.startsWith(schema))) homes.add(path.join(root, "node_modules", "typebox"));
  return [...homes].sort().map((home) => {
    const { name, version, license } = JSON.parse(readFileSync(path.join(home, "package.json"), "utf8"));
    return { home, name, version, license };
  });
}

/** The licence of each, as its authors ask. */
function licences(libraries) {
  const texts = libraries.map(({ home, name, version, license }) => {
    const file = ["LICENSE", "LICENSE.md", "license", "LICENCE"].map((one) => path.join(home, one)).find(existsSync);
    return `${name} ${version} (${license})\n\n${file === undefined ? "" : readFileSync(file, "utf8")}`;
  });
  return `Libraries in this program, and their licences.\n\n${texts.join("\n\n")}`;
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await bundleAgent();
