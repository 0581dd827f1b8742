import { tellMistypedOptions } from "@dyetrace/wire/command-line/mistyped-option";
import { Command } from "commander";
import { expect, test } from "vitest";
import { tellUnknownCommands } from "./tell-unknown-commands.ts";

/** @returns what it said, or which command was carried out */
async function saidTo(...argv: string[]): Promise<string> {
  const said: string[] = [];
  const program = new Command("dyetrace").exitOverride().configureOutput({ writeErr: (text) => said.push(text) });
  const act = (name: string) => () => void said.push(name);
  const runs = program.command("runs").action(act("runs"));
  runs.command("trend").action(act("trend"));
  const report = program.command("report").argument("<run>").action(act("report"));
  report.command("schema").action(act("schema"));
  program.command("story").argument("<run>").action(act("story"));
  const baseline = program.command("baseline").argument("<run>").argument("<name>").action(act("baseline"));
  baseline.command("list").action(act("list"));
  program.command("audit").command("check").action(act("check"));
  program.command("run").requiredOption("--site <plan>").option("--junit <file>").action(act("run"));
  tellUnknownCommands(program);
  tellMistypedOptions(program);
  await program.parseAsync(argv, { from: "user" }).catch(() => undefined);
  return said.join("").trim();
}

test("a mistyped command of a group: given groups that do something by themselves and others, then each names the word and the nearest command", async () => {
  expect(await saidTo("runs", "trnd")).toBe("error: unknown command 'trnd'\n(Did you mean trend?)");
  expect(await saidTo("audit", "chek")).toBe("error: unknown command 'chek'\n(Did you mean check?)");
  expect(await saidTo("report", "schma")).toBe("error: unknown command 'schma'\n(Did you mean schema?)");
  expect(await saidTo("baseline", "lst")).toBe("error: unknown command 'lst'\n(Did you mean list?)");
  expect(await saidTo("story", "reprt")).toBe(
    "error: 'reprt' is no run's id (or last); the command of that name is `dyetrace report`",
  );
  expect(await saidTo("rusn")).toBe("error: unknown command 'rusn'\n(Did you mean one of run, runs?)");
});

test("a mistyped command of a group: given no mistake, then everything is carried out as before", async () => {
  expect(await saidTo("runs")).toBe("runs");
  expect(await saidTo("runs", "trend")).toBe("trend");
  expect(await saidTo("report", "last")).toBe("report");
  expect(await saidTo("report", "schema")).toBe("schema");
  expect(await saidTo("report", "00000000000000aa")).toBe("report");
  expect(await saidTo("baseline", "last", "lst")).toBe("baseline"); // a name may be anything
  expect(await saidTo("baseline", "last")).toBe("error: missing required argument 'name'");
  expect(await saidTo("story", "last")).toBe("story");
  expect(await saidTo("story", "00000000000000aa")).toBe("story");
  expect(await saidTo("runs", "trend", "x")).toContain("too many arguments for 'trend'");
});

test("a mistyped option: given that another one is missing because of it, then it is named, with the nearest; a missing one alone is said to be missing", async () => {
  expect(await saidTo("run", "--sitte", "x")).toBe("error: unknown option '--sitte'\n(Did you mean --site?)");
  expect(await saidTo("run", "--sitte=x")).toBe("error: unknown option '--sitte'\n(Did you mean --site?)");
  expect(await saidTo("run", "--junit", "x")).toBe("error: required option '--site <plan>' not specified");
  expect(await saidTo("run", "--", "--sitte")).toBe("error: required option '--site <plan>' not specified");
  expect(await saidTo("run", "--site", "x")).toBe("run");
});
