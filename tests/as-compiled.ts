import path from "node:path";
import type { Plugin } from "vitest/config";

/** What the compiler made of our sources, which Node.js reads by itself: nothing is to be made of it once more. */
export const COMPILED = /\/(?:agent|controller|packages\/[a-z]+)\/dist\//;

/**
 * A test that starts programs gets what it imports of our sources as the compiler made it: as those programs have it, once for
 * all test files of a worker, and without being made into JavaScript a second time.
 */
export const asCompiled: Plugin = {
  name: "as-compiled",
  enforce: "pre",
  resolveId(source, importer) {
    if (importer === undefined || !source.startsWith("../")) return null;
    const file = path.resolve(path.dirname(importer), source);
    const [, home, name] = /^(.*\/(?:agent|controller|packages\/[a-z]+))\/src\/(.*)\.ts$/.exec(file) ?? [];
    return home === undefined ? null : `${home}/dist/${name}.js`;
  },
};
