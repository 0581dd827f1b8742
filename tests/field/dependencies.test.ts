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

test("dependencies: given the lock file, then no other packages run a script when they are installed than those whose scripts were read", () => {
  const scripts = foreign.filter(([, { hasInstallScript }]) => hasInstallScript === true).map(([place]) => place);
  expect(scripts.sort()).toEqual([
    // Takes its binary from its author's releases, else compiles the sources in the package (operator-notes.md).
    "node_modules/better-sqlite3",
    // Finds the binary that its platform's package brought from the registry, and does nothing more.
    "node_modules/koffi",
  ]);
});
