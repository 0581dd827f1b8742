import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { hasBuiltInSqlite } from "../../controller/src/sqlite/built-in-sqlite.ts";

/** What `npm ci` brings and runs on a fresh clone. `npm run audit` asks the registry for known holes. */
interface LockedPackage {
  readonly resolved?: string;
  readonly integrity?: string;
  readonly link?: boolean;
  readonly hasInstallScript?: boolean;
  readonly engines?: { readonly node?: string };
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
    // Would take its binary from its author's releases; deploy/bootstrap.mjs compiles its sources instead, where Node.js has no SQLite.
    "node_modules/better-sqlite3",
    // Would only look for the binary that its platform's package brought from the registry.
    "node_modules/koffi",
  ]);
});

test("dependencies: given the oldest Node.js that we name, then no package asks for a later one", () => {
  const asks = foreign.flatMap(([place, { engines }]) => (engines?.node === undefined ? [] : [[place, engines.node]]));
  expect(asks.length).toBeGreaterThan(50);
  /** One of the alternatives begins at 20 or before: `^20.19.0 || >=22.12.0`. */
  const isOf20 = (range = ""): boolean =>
    range.split("||").some((part) => /^\s*(\*|(>=|\^|~)?\s*v?20(\.|\s|$)|>=?\s*v?1?[0-9]?(\.|\s|$))/.test(part));
  expect([">=22", "^22.1 || >=24"].some(isOf20)).toBe(false);
  expect(asks.filter(([, range]) => !isOf20(range))).toEqual([]);
});

test("dependencies: given any Node.js, then the set-up compiles SQLite just where the store asks for a compiled one", async () => {
  const bootstrap: unknown = await import(new URL("../../deploy/bootstrap.mjs", import.meta.url).href);
  const { needsCompiledSqlite } = bootstrap as { needsCompiledSqlite: (major?: number, minor?: number) => boolean };
  for (const version of ["20.20.2", "22.13.0", "22.16.0", "23.4.0", "24.0.0", "26.3.1"]) {
    const [major, minor] = version.split(".").map(Number);
    expect([version, needsCompiledSqlite(major, minor)]).toEqual([version, !hasBuiltInSqlite(version)]);
  }
});
