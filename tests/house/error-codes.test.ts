import { readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { FAULT_CODES } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { readSourceFiles } from "./source-files.ts";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const HOME = "packages/wire/src/fault.ts";

const sources = readSourceFiles()
  .filter(({ path: at }) => at !== HOME && !at.endsWith(".css"))
  .map((file) => ({ path: file.path, text: readFileSync(path.join(ROOT, file.path), "utf8") }));

test("given the page of error codes, then it has each code once, with a cause and what to do", () => {
  const page = readFileSync(path.join(ROOT, "deploy/error-codes.md"), "utf8");
  const rows = page.split("\n").filter((line) => line.startsWith("| `"));
  const codes = rows.map((row) => {
    const [, code = "", cause = "", mending = ""] = /^\| `([A-Z_]+)` \| (.+) \| (.+) \|$/.exec(row) ?? [];
    expect([code, cause.endsWith("."), mending.endsWith(".")]).toEqual([code, true, true]);
    return code;
  });
  expect(codes.toSorted()).toEqual([...FAULT_CODES].sort());
});

test.each(FAULT_CODES)("given the code %s, then some source gives it", (code) => {
  // What only asks for a code does not give it.
  const givers = sources.filter(({ text }) =>
    text
      .replaceAll(/new Set(<[^>]*>)?\(\[[^\]]*\]\)/g, "")
      .replaceAll(/[=!]== "[A-Z_]+"/g, "")
      .includes(`"${code}"`),
  );
  expect(givers.map(({ path: at }) => at)).not.toEqual([]);
});

test("given all sources, then each code that they give is in the list", () => {
  // A Fault's code is held by its type; other objects with a code may come from another version and are plain text there.
  const given = sources.flatMap(({ path: at, text }) =>
    [...text.matchAll(/(?:\bcode: |new (?:Fault|Refusal)\(\s*)"([A-Z]+(?:_[A-Z]+)*)"/g)].map(([, code = ""]) => ({
      at,
      code,
    })),
  );
  expect(given.length).toBeGreaterThan(100); // they were found at all
  expect(given.filter(({ code }) => !FAULT_CODES.some((known) => known === code))).toEqual([]);
});
