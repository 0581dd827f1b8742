import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { VERSION } from "./version.ts";

test("VERSION: given the package, then it says the same", () => {
  const { version } = JSON.parse(readFileSync(new URL("../../package.json", import.meta.url), "utf8")) as {
    version: string;
  };
  expect(VERSION).toBe(version);
});
