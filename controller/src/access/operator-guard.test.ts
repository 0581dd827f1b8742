import { PassThrough } from "node:stream";
import cookies from "@fastify/cookie";
import rateLimit from "@fastify/rate-limit";
import { type FastifyInstance, fastify } from "fastify";
import { afterEach, beforeEach, expect, test } from "vitest";
import { AccessBook } from "./access-book.ts";
import type { OperatorRecord } from "./access-records.ts";
import { guardRoutes } from "./operator-guard.ts";
import { OperatorSessions } from "./operator-sessions.ts";
import { OperatorTokens } from "./operator-tokens.ts";
import { TokenUses } from "./token-uses.ts";

const anna: OperatorRecord = { name: "anna", role: "operate", password: "x", since: "2026-11-01T00:00:00.000Z" };

let app: FastifyInstance;
let book: AccessBook;
let tokens: OperatorTokens;
let secret = "";
let deeds = 0;
let onAsked = (): void => {};
beforeEach(async () => {
  [deeds, book, app] = [0, new AccessBook(null), fastify()];
  book.change(() => ({ operators: [anna] }));
  const [sessions, uses] = [new OperatorSessions(), new TokenUses(null)];
  tokens = new OperatorTokens(book, uses);
  ({ secret } = sessions.begin(anna, Date.now()));
  await app.register(rateLimit, { global: false });
  await app.register(cookies);
  const audit = { note: () => {}, refuse: () => {}, count: () => {} };
  guardRoutes(app, { book, sessions, tokens, uses, audit, isOpen: false, onKnown: () => {} });
  app.addHook("preParsing", async () => onAsked());
  app.post("/api/deed", () => ({ deeds: ++deeds }));
});
afterEach(() => app.close());

/** A change whose body is whole only after `meanwhile` happened. */
async function slowly(
  bearer: string,
  meanwhile: () => void,
): Promise<{ readonly code?: string; readonly status: number }> {
  const body = new PassThrough();
  const headers = { authorization: `Bearer ${bearer}`, "content-type": "application/json" };
  const asked = new Promise<void>((resolve) => {
    onAsked = resolve;
  });
  const answer = app.inject({ method: "POST", url: "/api/deed", headers, payload: body });
  await asked;
  meanwhile();
  body.end("{}");
  const { statusCode, json } = await answer;
  return { ...json<{ code?: string }>(), status: statusCode };
}

test("a change: given the right to it, then it is made, however slowly it comes", async () => {
  expect(await slowly(secret, () => {})).toMatchObject({ status: 200, deeds: 1 });
});

test("a change: given an operator who may only look, or who is removed, before the change has come whole, then it is not made", async () => {
  const demoted = await slowly(secret, () => book.change(() => ({ operators: [{ ...anna, role: "view" }] })));
  expect(demoted.code).toBe("NOT_ALLOWED");
  book.change(() => ({ operators: [anna] }));
  const removed = await slowly(secret, () => book.change(() => ({ operators: [] })));
  expect(removed.code).toBe("NOT_SIGNED_IN");
  expect(deeds).toBe(0);
});

test("a change: given a token that is removed before the change has come whole, then it is not made", async () => {
  const order = { name: "ci", scope: "operate", lastsMs: null, by: "anna", operator: anna } as const;
  const { token } = tokens.add(order, Date.now());
  expect((await slowly(token, () => void tokens.remove("ci"))).code).toBe("NOT_SIGNED_IN");
  expect(deeds).toBe(0);
});
