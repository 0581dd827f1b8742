import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { expect, test } from "vitest";

/** A page that names files is only as good as the names: each must be one of the repository's. */
test("DEVELOPERS.md: given each file and folder that it names, then there is one", () => {
  const root = new URL("../..", import.meta.url);
  const tracked = execFileSync("git", ["ls-files", "--cached", "--others", "--exclude-standard"], {
    cwd: root,
    encoding: "utf8",
  });
  const files = tracked.split("\n").filter((file) => file !== "");
  const text = readFileSync(new URL("DEVELOPERS.md", root), "utf8");
  const named = [...text.matchAll(/`([\w./-]+\.(?:ts|tsx|mjs|md|yaml|json))`/g)].flatMap(([, name]) => name ?? []);
  const folders = [...text.matchAll(/`([\w-]+(?:\/[\w-]+)*)\/`/g)].flatMap(([, name]) => name ?? []);
  expect(named.length).toBeGreaterThan(20); // they were found at all
  const isKnown = (name: string) => files.some((file) => `/${file}`.endsWith(`/${name}`));
  const isFolder = (name: string) => files.some((file) => `/${file}`.includes(`/${name}/`));
  expect(named.filter((name) => !isKnown(name))).toEqual([]);
  expect(folders.filter((name) => !isFolder(name))).toEqual([]);
});
