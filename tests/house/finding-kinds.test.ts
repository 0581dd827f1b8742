import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import {
  FINDING_KIND_NAMES,
  FINDING_KINDS,
  type FindingComparison,
  type FindingEffect,
  type FindingKind,
} from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { readSourceFiles } from "./source-files.ts";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PAGE = path.join(ROOT, "deploy/finding-kinds.md");

const sources = readSourceFiles().map((file) => ({ ...file, text: readFileSync(path.join(ROOT, file.path), "utf8") }));

describe("kinds of findings", () => {
  const made = sources.filter(({ path: at }) => at.startsWith("packages/locate/"));
  const shown = readdirSync(path.join(ROOT, "packages/locate/src"), { recursive: true, encoding: "utf8" })
    .filter((at) => at.endsWith(".test.ts"))
    .map((at) => readFileSync(path.join(ROOT, "packages/locate/src", at), "utf8"))
    .join("\n");

  test.each(FINDING_KIND_NAMES)(
    "given %s, then a rule of locate makes it, and a test of locate shows that it does",
    (kind) => {
      expect(made.filter(({ text }) => text.includes(`kind: "${kind}"`))).not.toEqual([]);
      expect(shown).toContain(`"${kind}"`);
    },
  );

  test.each(Object.keys(FINDING_KINDS.stops))("given the table's %s, then somebody reads it", (fact) => {
    const look = "(?:FINDING_KINDS(?:\\[[^\\]]+\\]|\\.\\w+)|findingKindFacts\\([^)]*\\))";
    const read = new RegExp(`${look}\\.${fact}\\b|\\{[^{}]*\\b${fact}\\b[^{}]*\\} = ${look}`);
    const readers = sources.filter(({ path: at, text }) => !at.startsWith("packages/wire/") && read.test(text));
    expect(readers.map(({ path: at }) => at)).not.toEqual([]);
  });

  test("given the page of kinds, then it says what the table says (npx vitest -u writes it)", async () => {
    await expect(page()).toMatchFileSnapshot(PAGE);
  });
});

const EFFECTS: Readonly<Record<FindingEffect, string>> = {
  fails: "fail",
  "blames-host": "inconclusive: a measuring host's own trouble",
  undecided: "inconclusive",
  informs: "as without it",
};
const COMPARED: Readonly<Record<FindingComparison, string>> = {
  presence: "found anew is worse, gone is better",
  figures: "by its figures",
  note: "told, neither worse nor better",
};

const page = (): string => `# Kinds of findings

Each finding of a report has a kind; terminal, console and written reports show its words, \`--json\` has it as \`kind\`, and
\`dyetrace schema\` lists all of them. Beside it stand the suspects, how sure the finding is, what it rests on, and what to
look at next. \`dyetrace compare\` takes kinds as the last column says. How sure a plain case is stands in the table; with
more doubt a finding says less.

| kind | what it says | verdict | confidence, in % | between two runs |
|---|---|---|---|---|
${FINDING_KIND_NAMES.map(row).join("\n")}

<!-- Written by tests/house/finding-kinds.test.ts from packages/wire/src/report/finding-kinds.ts. -->
`;

function row(kind: FindingKind): string {
  const { meaning, effect, confidence, compared } = FINDING_KINDS[kind];
  return `| \`${kind}\` | ${meaning} | ${EFFECTS[effect]} | ${Math.round(confidence * 100)} | ${COMPARED[compared]} |`;
}
