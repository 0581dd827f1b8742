import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { AccessBook } from "./access-book.ts";
import type { OperatorRecord } from "./access-records.ts";
import { AgentDoor } from "./agent-door.ts";
import { OperatorTokens, withoutOperator } from "./operator-tokens.ts";
import { TokenUses } from "./token-uses.ts";

const BEGIN_MS = Date.UTC(2026, 10, 29);
const HOUR_MS = 3600e3;
const anna: OperatorRecord = { name: "anna", role: "operate", password: "x", since: "2026-11-01T00:00:00.000Z" };

let folder = "";
let book: AccessBook;
let tokens: OperatorTokens;
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-tokens-"));
  book = new AccessBook(folder);
  book.change(() => ({ operators: [anna] }));
  tokens = new OperatorTokens(book, { of: () => null });
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const make = (name: string, scope: "view" | "operate" = "view", operator: OperatorRecord | null = null): string =>
  tokens.add({ name, scope, lastsMs: HOUR_MS, by: operator?.name ?? "root on this machine", operator }, BEGIN_MS).token;
const find = (token: string, afterMs = 0) => tokens.find(token, BEGIN_MS + afterMs);

test("a token: given it, then it opens what its scope says until its time is over, and only its hash is kept", () => {
  const token = make("prometheus");
  expect(token).toMatch(/^dyetrace_[0-9a-f]{16}_[A-Za-z0-9_-]{43}$/);
  expect(find(token)).toMatchObject({ kind: "good", name: "prometheus", role: "view" });
  expect(find(token, HOUR_MS - 1).kind).toBe("good");
  expect(find(token, HOUR_MS)).toEqual({ kind: "ended", name: "prometheus" });
  expect(readFileSync(path.join(folder, "access.json"), "utf8")).not.toContain(token.slice(-43));
  expect(new OperatorTokens(new AccessBook(folder), { of: () => null }).find(token, BEGIN_MS).kind).toBe("good");
});

test("a token: given another secret, another id, or words that are none, then it is unknown, also where it would have ended", () => {
  const token = make("ci");
  const other = make("cron");
  for (const wrong of [`${token.slice(0, 26)}${other.slice(26)}`, `${token}x`, token.toUpperCase(), "", "dyetrace_"]) {
    expect(find(wrong, 2 * HOUR_MS)).toEqual({ kind: "unknown" });
  }
});

test("a token: given that it is removed, then it is gone at once; its name may be given again, and twice it may not", () => {
  const token = make("ci");
  expect(() => make("ci")).toThrow("There is a token ci already");
  expect(() => make("c i")).toThrow("is no name for a token");
  expect([tokens.remove("ci"), tokens.remove("ci")]).toEqual([true, false]);
  expect(find(token).kind).toBe("unknown");
  expect(make("ci")).not.toBe(token);
});

test("an operator's tokens: given that he may only look by now, then they do no more; given that he is removed, then they go, and come back with nobody of his name", () => {
  const token = make("ci", "operate", anna);
  book.change(() => ({ operators: [{ ...anna, role: "view" }] }));
  expect(find(token)).toMatchObject({ role: "view" });
  expect(tokens.list(BEGIN_MS)).toMatchObject([{ name: "ci", scope: "view", by: "anna" }]);
  book.change(() => ({ operators: [{ ...anna, password: "another" }] }));
  expect(find(token)).toMatchObject({ role: "operate" });
  book.change(() => ({ operators: [{ ...anna, since: "2026-11-30T00:00:00.000Z" }] })); // removed and added again
  expect(find(token).kind).toBe("unknown");
  expect(tokens.list(BEGIN_MS)).toEqual([]);
  book.change((records) => withoutOperator({ ...records, operators: [anna] }, "anna", false));
  expect(book.records.tokens).toEqual([]);
});

test("an operator's tokens: given that he is removed and they are kept, then they open what they did and say whose they were", () => {
  const [kept, machines] = [make("ci", "operate", anna), make("cron", "view")];
  book.change((records) => withoutOperator(records, "anna", true));
  expect([find(kept), find(machines)]).toMatchObject([{ role: "operate" }, { role: "view" }]);
  expect(tokens.list(BEGIN_MS)[0]).toMatchObject({ name: "ci", by: "anna, who was removed" });
});

test("an operator's tokens: given that they are kept, then they do no more than they did that day, and those that opened nothing go", () => {
  const [climber, dead] = [make("ci", "operate", anna), make("old", "operate", anna)];
  const since = "2026-11-30T00:00:00.000Z";
  book.change(({ tokens: all }) => ({
    operators: [{ ...anna, role: "view" }],
    tokens: all.map((one) => (one.name === "old" ? { ...one, operator: { name: "anna", since } } : one)),
  }));
  book.change((records) => withoutOperator(records, "anna", true));
  expect([find(climber), find(dead)]).toMatchObject([{ kind: "good", role: "view" }, { kind: "unknown" }]);
});

test("a token: given a maker who is no operator any more, then none is made", () => {
  expect(() => make("ci", "operate", { ...anna, since: "2026-11-30T00:00:00.000Z" })).toThrow("no operator any more");
  expect(book.records.tokens).toEqual([]);
});

test("keys to enrol with: given that the token or the operator who made them is removed, then those that nobody has used go as well", () => {
  const door = new AgentDoor(book, null);
  for (const name of ["ci", "cron"]) make(name, "operate", anna);
  for (const by of ["token ci", "token cron", "anna", "bert"]) door.makeKey(null, by, BEGIN_MS);
  const makers = (): readonly string[] => book.records.enrolKeys.map(({ by }) => by);
  tokens.remove("ci");
  expect(makers()).toEqual(["token cron", "anna", "bert"]);
  book.change((records) => withoutOperator(records, "anna", true));
  expect(makers()).toEqual(["token cron", "bert"]);
  book.change(() => ({ operators: [anna] }));
  make("night", "operate", anna);
  door.makeKey(null, "token night", BEGIN_MS);
  book.change((records) => withoutOperator(records, "anna", false));
  expect(makers()).toEqual(["token cron", "bert"]);
});

test("TokenUses: given uses, then the first is told, the last is kept over a restart, and those of tokens that are no more are forgotten", () => {
  const uses = new TokenUses(folder);
  expect([uses.note("a", "192.0.2.1", BEGIN_MS), uses.note("a", "192.0.2.2", BEGIN_MS + 1)]).toEqual([true, false]);
  uses.note("b", "192.0.2.3", BEGIN_MS);
  uses[Symbol.dispose]();
  using again = new TokenUses(folder);
  expect(again.of("a")).toEqual({ at: "2026-11-29T00:00:00.001Z", from: "192.0.2.2" });
  again.keepOnly(new Set(["b"]));
  expect([again.of("a"), again.of("b")?.from]).toEqual([null, "192.0.2.3"]);
});
