import cookies from "@fastify/cookie";
import { type FastifyRequest, fastify } from "fastify";
import { expect, test } from "vitest";
import { giveSessionCookie, sessionSecrets, takeSessionCookie } from "./session-cookie.ts";

const asked = (protocol: "http" | "https", cookies: Record<string, string>, authorization?: string) =>
  sessionSecrets({ protocol, cookies, headers: authorization === undefined ? {} : { authorization } } as Pick<
    FastifyRequest,
    "headers" | "cookies" | "protocol"
  >);

test("sessionSecrets: given cookies over TLS, then only the one counts that no other host can have set (RFC 6265bis 4.1.3.2)", () => {
  expect(asked("https", { "__Host-dyetrace-session": "abc" })).toEqual([{ text: "abc", isCookie: true }]);
  expect(asked("https", { "dyetrace-session": "abc" })).toEqual([]);
});

test("sessionSecrets: given cookies in clear, then ours counts and none of a similar name", () => {
  expect(asked("http", { "dyetrace-session": "abc" })).toEqual([{ text: "abc", isCookie: true }]);
  expect(asked("http", { "x-dyetrace-session": "abc", "__Host-dyetrace-session": "abc" })).toEqual([]);
});

test("sessionSecrets: given a bearer token and a cookie, then the token counts first; what is no token does not count", () => {
  expect(asked("http", { "dyetrace-session": "abc" }, "Bearer xyz")).toEqual([
    { text: "xyz", isCookie: false },
    { text: "abc", isCookie: true },
  ]);
  expect(asked("http", {}, "Basic eHl6")).toEqual([]);
});

test("the session's cookie: given a sign-in and a sign-out, then the browser is told to keep it from scripts and other sites, and to drop it", async () => {
  const app = fastify();
  await app.register(cookies);
  app.get("/in", (_request, reply) => {
    giveSessionCookie(reply, "abc");
    return {};
  });
  app.get("/out", (_request, reply) => {
    takeSessionCookie(reply);
    return {};
  });
  const given = String((await app.inject("/in")).headers["set-cookie"]).split("; ");
  expect(given.sort()).toEqual(["HttpOnly", "Path=/", "SameSite=Strict", "dyetrace-session=abc"]);
  const taken = String((await app.inject("/out")).headers["set-cookie"]).split("; ");
  expect(taken).toEqual(expect.arrayContaining(["dyetrace-session=", "Max-Age=0", "Path=/"]));
  await app.close();
});
