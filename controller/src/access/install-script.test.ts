import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { enrolLine } from "./enrol-line.ts";

const read = (name: string): string => readFileSync(new URL(`../../../deploy/${name}`, import.meta.url), "utf8");
const rootBlocks = (notes: string): string =>
  [...notes.matchAll(/```sh \S+\n([\s\S]*?)```/g)].map(([, text]) => text).join("");

test("enrolLine: given a key, then it stands in no command's arguments but those of the shell's own echo", () => {
  const key = "enrol-0123456789abcdef.secret";
  const address = { url: "https://192.0.2.1:8472", pin: "sha256//x" };
  const line = enrolLine({ ...address, key, name: "kiosk", interfaceName: "eth0" });
  expect(line).toMatch(
    /&& echo enrol-0123456789abcdef\.secret \| \$\(command -v sudo\) sh -c "\$s" dyetrace --name kiosk --interface eth0$/,
  );
  expect(line.split(key)).toHaveLength(2);
});

test.each([
  ["install.sh", () => read("agent/install.sh")],
  ["the notes", () => rootBlocks(read("operator-notes.md"))],
])(
  "%s: given what root runs, then nothing in the agent's own folder is written to, read or killed by: a link may lie there",
  (_name, script) => {
    const lines = script().split("\n");
    expect(lines.length).toBeGreaterThan(20);
    const inside = /(?:[<>]\s*|cat\s+|cp\s+\S+\s+|tee\s+|source\s+)"?(?:\$data|\/var\/lib\/dyetrace-agent)\//;
    expect(lines.filter((line) => inside.test(line))).toEqual([]);
  },
);
