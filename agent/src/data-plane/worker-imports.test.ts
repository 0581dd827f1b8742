import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";

const SOURCES = fileURLToPath(new URL("..", import.meta.url));

/** Modules that a source file loads when it runs; types vanish before that. */
function imports(file: string): string[] {
  const text = readFileSync(file, "utf8");
  return [...text.matchAll(/^(?:import|export) (?!type )(?:[^"';]*? from )?"([^"]+)";/gm)].map(([, name = ""]) => name);
}

/** @returns the source of what one of our own packages gives under that name, such as `@dyetrace/wire/fault` */
function sourceOf(name: string): string {
  const [, short = "", entry = ""] = /^@dyetrace\/([^/]+)(\/.+)?$/.exec(name) ?? [];
  const folder = join(SOURCES, "../../packages", short);
  const { exports } = createRequire(import.meta.url)(join(folder, "package.json")) as {
    exports: Record<string, { default: string }>;
  };
  const inside = entry.slice(0, entry.lastIndexOf("/"));
  const whole = exports[`.${inside}/*`]?.default.replace("*", entry.slice(entry.lastIndexOf("/") + 1));
  const file = exports[`.${entry}`]?.default ?? whole;
  if (file === undefined) throw new Error(`${name} is not among the package's exports`);
  return join(folder, file.replace("./dist/", "src/").replace(/\.js$/, ".ts"));
}

/** @returns names of all packages that a worker loads, the imports of its own files and of our own packages followed */
function packagesOf(entry: string, seen = new Set<string>()): Set<string> {
  const packages = new Set<string>();
  const follow = (file: string): void => {
    if (seen.has(file)) return;
    seen.add(file);
    for (const name of imports(file)) {
      if (name.startsWith(".")) follow(join(dirname(file), name));
      else packages.add(name);
      if (name.startsWith("@dyetrace/") && name !== "@dyetrace/wire") follow(sourceOf(name));
    }
  };
  follow(entry);
  return packages;
}

test.each([
  "sender/linux-sender-worker.ts",
  "sender/portable-sender-worker.ts",
  "listener/linux-listener-worker.ts",
  "listener/portable-listener-worker.ts",
  "standalone/follow/linux-follow-worker.ts",
  "standalone/follow/portable-follow-worker.ts",
  "watcher/watcher-worker.ts",
])(
  "%s: given its imports, then it loads no schemas: they cost each thread 0.3 s of processor at its start",
  (worker) => {
    const packages = packagesOf(join(SOURCES, worker));
    expect([...packages].filter((name) => name.startsWith("@dyetrace/")).length).toBeGreaterThan(0); // it was read at all
    expect([...packages].filter((name) => name === "@dyetrace/wire" || name === "typebox" || name === "yaml")).toEqual(
      [],
    );
  },
);

test("the wire package's narrow entries: given each, then it loads no schemas either", () => {
  const wire = join(SOURCES, "../../packages/wire/src");
  const { exports } = createRequire(import.meta.url)(join(wire, "../package.json")) as {
    exports: Record<string, { default: string }>;
  };
  // Folders that stand open as a whole have schemas among their files; what a worker takes of them is followed above.
  const narrow = Object.entries(exports).filter(([name]) => name !== "." && !name.endsWith("/*"));
  expect(narrow.length).toBeGreaterThan(0);
  for (const [, { default: file }] of narrow) {
    const source = join(wire, file.replace("./dist/", "").replace(/\.js$/, ".ts"));
    expect([...packagesOf(source)]).toEqual([]);
  }
});
