import { mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { pino } from "pino";
import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { type ChainedEntry, chainOn, checkChain } from "./audit-chain.ts";
import { AuditFile } from "./audit-file.ts";
import { AuditLog } from "./audit-log.ts";

const entryOf = (what: string) => ({ at: "2026-11-29T02:00:00.000Z", who: "anna", from: "192.0.2.7", what });

describe("checkChain", () => {
  const chain: ChainedEntry[] = [];
  for (const what of ["a", "b", "c", "d"]) chain.push(chainOn(chain.at(-1) ?? null, entryOf(what)));
  const lines = chain.map((entry) => JSON.stringify(entry));

  test("given what was written, then nothing is broken, and the end is told", () => {
    expect(checkChain(lines)).toMatchObject({ entries: 4, before: 0, firstNumber: 1, last: { number: 4 }, breaks: [] });
    // The files before were removed for their age.
    expect(checkChain(lines.slice(2))).toMatchObject({ entries: 2, firstNumber: 3, breaks: [] });
    expect(checkChain([JSON.stringify(entryOf("of an earlier version")), ...lines])).toMatchObject({
      before: 1,
      breaks: [],
    });
    expect(checkChain([])).toEqual({ entries: 0, before: 0, firstNumber: null, last: null, breaks: [] });
  });

  test.each([
    [
      "one word changed",
      lines.map((line) => line.replace('"what":"b"', '"what":"x"')),
      /^entry 2 \(line 2\) was changed/,
    ],
    ["one taken out", lines.toSpliced(1, 1), /^entry 3 \(line 2\) does not follow entry 1/],
    ["two in another order", [lines[0], lines[2], lines[1], lines[3]], /^entry 3 \(line 2\) does not follow entry 1/],
    [
      "one put in",
      lines.toSpliced(1, 0, JSON.stringify(chainOn(null, entryOf("x")))),
      /^entry 1 \(line 2\) does not follow/,
    ],
    [
      "a hash taken off",
      lines.map((line, at) => (at === 1 ? JSON.stringify(entryOf("b")) : line)),
      /^line 2 is no whole/,
    ],
    [
      "the beginning made an earlier version's",
      lines.map((line, at) => (at < 2 ? JSON.stringify(entryOf("b")) : line)),
      /^entry 3 \(line 3\) does not begin/,
    ],
  ])("given %s, then the place is told", (_what, changed, sentence) => {
    expect(checkChain(changed as string[]).breaks[0]).toMatch(sentence);
  });
});

describe("AuditFile", () => {
  let folder = "";
  beforeEach(() => {
    folder = mkdtempSync(path.join(tmpdir(), "dyetrace-audit-"));
  });
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  test("append: given two programs that write by turns, then there is one chain", () => {
    const [controller, command] = [new AuditFile(folder), new AuditFile(folder)];
    for (let i = 0; i < 5; i++) for (const file of [controller, command]) file.append(entryOf(`${i}`));
    expect(checkChain(command.lines())).toMatchObject({
      entries: 10,
      firstNumber: 1,
      last: { number: 10 },
      breaks: [],
    });
    expect(controller.latest(3).map(({ what }) => what)).toEqual(["3", "4", "4"]);
  });

  test("append: given that the file has grown too large, then a new one goes on with the chain, and the oldest goes", () => {
    const file = new AuditFile(folder, 300); // two entries of some 250 bytes
    for (let i = 0; i < 14; i++) file.append(entryOf(`${i}`));
    expect(readdirSync(folder).toSorted()).toEqual([
      "audit.jsonl",
      ...[1, 2, 3, 4].map((number) => `audit.jsonl.${number}`),
      "audit.jsonl.lock",
    ]);
    expect(checkChain(file.lines())).toMatchObject({ entries: 10, firstNumber: 5, last: { number: 14 }, breaks: [] });
  });

  test("append: given a line that was cut off, then the next one stands by itself, and the check tells of it", () => {
    const file = new AuditFile(folder);
    file.append(entryOf("a"));
    const whole = readFileSync(path.join(folder, "audit.jsonl"), "utf8");
    writeFileSync(path.join(folder, "audit.jsonl"), `${whole}{"number":2,"at":`);
    file.append(entryOf("b"));
    expect(file.latest(10).map(({ what }) => what)).toEqual(["a", "b"]);
    expect(checkChain(file.lines())).toMatchObject({
      entries: 2,
      breaks: [expect.stringMatching(/^line 2 is no whole/)],
    });
  });

  test("append: given a link in the place of the file, then nothing is written where it points", () => {
    const elsewhere = path.join(folder, "elsewhere");
    writeFileSync(elsewhere, "mine\n");
    symlinkSync(elsewhere, path.join(folder, "audit.jsonl"));
    expect(() => new AuditFile(folder).append(entryOf("a"))).toThrow("ELOOP");
    expect(readFileSync(elsewhere, "utf8")).toBe("mine\n");
  });

  test("check: given many entries, and a file that is put aside meanwhile, then others have their turn, and the chain is whole", async () => {
    const ENTRIES = 4000;
    const chain: ChainedEntry[] = [];
    for (let i = 0; i < ENTRIES; i++) chain.push(chainOn(chain.at(-1) ?? null, entryOf(`${i}`)));
    const lines = chain.map((entry) => JSON.stringify(entry));
    const file = path.join(folder, "audit.jsonl");
    writeFileSync(file, `${lines.slice(2000).join("\n")}\n`);
    writeFileSync(`${file}.1`, `${lines.slice(0, 2000).join("\n")}\n`);
    using log = new AuditLog(folder, pino({ level: "silent" }));
    const checked = log.check();
    let turns = 0;
    const turn = (): void => {
      turns++;
      if (turns === 2) new AuditFile(folder, 300).append(entryOf("more")); // what stood there becomes the one before
      immediate = setImmediate(turn);
    };
    let immediate = setImmediate(turn);
    expect(await checked).toMatchObject({ entries: ENTRIES, last: { number: ENTRIES }, breaks: [] });
    clearImmediate(immediate);
    expect(turns).toBeGreaterThan(5);
    expect(readdirSync(folder)).toContain("audit.jsonl.2");
  });
});
