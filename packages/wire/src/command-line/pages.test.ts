import { spawnSync } from "node:child_process";
import { Command, Help, Option } from "commander";
import { expect, test } from "vitest";
import { bashCompletion } from "./bash-completion.ts";
import { withoutEmptyDefault } from "./empty-default.ts";
import { manualPage } from "./manual-page.ts";

const program = new Command("pour-it").description("Pours water.");
const audit = program.command("audit").description("Who did what.");
audit.command("check").description("Whether it's whole.").option("--json <file>", "as JSON; - for standard output");
program
  .command("run")
  .argument("<plan>", "site plan")
  .option("--port <port>", "its UDP port", "48620")
  .addOption(new Option("--role <role>", "which").choices(["view", "operate"]));
program.command("demo", { hidden: true });

/** What bash itself offers for the last of these words. */
function offered(...words: readonly string[]): string {
  const script = `${bashCompletion(program)}
COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _pour_it; echo "\${COMPREPLY[*]}"`;
  const { stdout, stderr } = spawnSync("bash", ["-c", script, "bash", ...words], { encoding: "utf8" });
  expect(stderr).toBe("");
  return stdout.trim();
}

test("bashCompletion: given words, then bash offers the commands, options and choices that fit, and no hidden command", () => {
  expect(offered("pour-it", "")).toBe("audit run --help");
  expect(offered("pour-it", "au")).toBe("audit");
  expect(offered("pour-it", "audit", "")).toBe("check --help");
  expect(offered("pour-it", "audit", "check", "--j")).toBe("--json");
  expect(offered("pour-it", "run", "site.yaml", "--role", "")).toBe("view operate");
  expect(offered("pour-it", "audit", "check", "--json", "")).toBe(""); // bash goes on with names of files (complete -o default)
});

test("manualPage: given a program, then every command and option stands there, and no line of text is taken for a macro", () => {
  const page = manualPage(program, { version: "1.2.3", exits: [[2, "'quoted' at its beginning"]] });
  expect(page).toContain('.TH POUR-IT 1 "" "dyetrace 1.2.3"');
  expect(page).toContain(".SS pour\\-it audit check [options]");
  expect(page).toContain(".B \\-\\-json <file>\nas JSON; \\- for standard output");
  expect(page).toContain("its UDP port (default: 48620)");
  expect(page).toContain("\n\\&'quoted' at its beginning");
  expect(page).not.toContain("demo");
  const macros = page
    .split("\n")
    .filter((line) => /^[.']/.test(line))
    .map((line) => line.split(" ")[0]);
  expect([...new Set(macros)].sort()).toEqual([".B", ".SH", ".SS", ".TH", ".TP"]);
});

test("withoutEmptyDefault: given what the parser says, then a default is told, and that there is none is not", () => {
  const said = (option: Option): string => withoutEmptyDefault(new Help().optionDescription(option));
  expect(said(new Option("--json", "as JSON").default(false))).toBe("as JSON");
  expect(said(new Option("--set <name=value>", "again").default([]))).toBe("again");
  expect(said(new Option("--port <port>", "its UDP port").default(161))).toBe("its UDP port (default: 161)");
});
