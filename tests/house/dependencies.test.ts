import { readFileSync } from "node:fs";
import { expect, test } from "vitest";

/** What `npm ci` brings and runs on a fresh clone. `npm run audit` asks the registry for known holes. */
interface LockedPackage {
  readonly resolved?: string;
  readonly integrity?: string;
  readonly link?: boolean;
  readonly hasInstallScript?: boolean;
}
const lock = JSON.parse(readFileSync(new URL("../../package-lock.json", import.meta.url), "utf8")) as {
  readonly packages: Readonly<Record<string, LockedPackage>>;
};
const foreign = Object.entries(lock.packages).filter(
  ([place, { link }]) => place.startsWith("node_modules/") && link !== true,
);

test("dependencies: given the lock file, then every package is pinned to one archive of the npm registry by its checksum", () => {
  expect(foreign.length).toBeGreaterThan(100);
  for (const [place, { resolved, integrity }] of foreign) {
    // Without an address npm asks its registry; with one it must be that.
    expect([place, resolved ?? "https://registry.npmjs.org/"]).toEqual([
      place,
      expect.stringMatching(/^https:\/\/registry\.npmjs\.org\//),
    ]);
    expect([place, integrity]).toEqual([place, expect.stringMatching(/^sha512-/)]);
  }
});

test("dependencies: given npm's settings here, then no package's script runs at an install; those that have one are known", () => {
  expect(readFileSync(new URL("../../.npmrc", import.meta.url), "utf8")).toMatch(/^ignore-scripts=true$/m);
  const scripts = foreign.filter(([, { hasInstallScript }]) => hasInstallScript === true).map(([place]) => place);
  expect(scripts.sort()).toEqual([
    // Would take its binary from its author's releases; deploy/bootstrap.mjs compiles its sources instead.
    "node_modules/better-sqlite3",
    // Would only look for the binary that its platform's package brought from the registry.
    "node_modules/koffi",
  ]);
});
