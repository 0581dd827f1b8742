import { Command } from "commander";
import { expect, test } from "vitest";
import { registerListen } from "./register-listen.ts";
import { registerSend } from "./register-send.ts";

test("help of send and listen: given a default that is a quantity, then it stands with its unit", () => {
  const program = new Command();
  registerSend(program);
  registerListen(program);
  const help = program.commands.map((command) => command.helpInformation()).join("\n");
  expect(help).toContain("(default: 60 s)");
  expect(help).toMatch(/\(default:\s+100 kbit\/s\)/);
  expect(help).toContain("(default: 1316 B)");
  // A port is a bare number, and the largest that there is.
  const bare = [...help.matchAll(/default:\s+([0-9]+)\)/g)].map(([, number]) => Number(number));
  expect(bare.filter((number) => number > 65_535)).toEqual([]);
});
