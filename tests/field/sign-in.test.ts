import http, { type IncomingHttpHeaders } from "node:http";
import https from "node:https";
import { text } from "node:stream/consumers";
import { PinnedAgent } from "@dyetrace/pin";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { startController } from "../../controller/src/service/controller-service.ts";
import { type OperatorsController, operatorRecord, startWithOperators } from "./support/operators-controller.ts";

/** Who gets in at a controller that others can reach, and what a stranger's page or a guesser meets. */
const PASSWORDS = { anna: "correct horse 1", otto: "battery staple 2" } as const;

let controller: OperatorsController;
let pin = "";
beforeAll(async () => {
  const operators = [
    await operatorRecord("anna", "operate", PASSWORDS.anna),
    await operatorRecord("otto", "view", PASSWORDS.otto),
  ];
  controller = await startWithOperators(operators, { isTls: true });
  pin = controller.pin ?? "";
});
afterAll(() => controller?.[Symbol.asyncDispose]());

interface Answer {
  readonly status: number;
  readonly headers: IncomingHttpHeaders;
  readonly body: Record<string, unknown>;
}
const ask = (method: string, route: string, headers: Record<string, string> = {}, body?: object): Promise<Answer> =>
  new Promise((resolve, reject) => {
    const content = body === undefined ? null : JSON.stringify(body);
    const type = content === null ? {} : { "content-type": "application/json" };
    const request = https.request(
      new URL(`${controller.url}${route}`),
      { method, headers: { ...type, ...headers }, agent: new PinnedAgent(pin) },
      (response) =>
        void text(response).then((words) => {
          const isJson = response.headers["content-type"]?.includes("json") === true;
          resolve({
            status: response.statusCode ?? 0,
            headers: response.headers,
            body: isJson ? JSON.parse(words) : {},
          });
        }, reject),
    );
    request.on("error", reject);
    request.end(content ?? undefined);
  });

async function signIn(name: keyof typeof PASSWORDS): Promise<{ cookie: string; form: string }> {
  const { status, headers, body } = await ask("POST", "/api/sign-in", {}, { name, password: PASSWORDS[name] });
  expect(status).toBe(200);
  return { cookie: headers["set-cookie"]?.[0]?.split(";")[0] ?? "", form: String(body["formToken"]) };
}
const STOP = "/api/runs/0123456789abcdef/abort";

test("a page that nobody signed in to: given it, then it shows itself and the question, and nothing of the site", async () => {
  expect((await ask("GET", "/")).status).toBe(200);
  expect((await ask("GET", "/api/session")).body).toEqual({
    isOpen: false,
    operator: null,
    formToken: null,
    hasOperators: true,
  });
  for (const route of [
    "/api/agents",
    "/api/runs",
    "/api/console/events",
    "/metrics",
    "/api/openapi.json",
    "/api/audit",
  ]) {
    expect([route, (await ask("GET", route)).status]).toEqual([route, 401]);
  }
  for (const route of ["//api/agents", "/api/./agents", "/API/agents", "/api/agents/"]) {
    expect([route, (await ask("GET", route)).status]).toEqual([
      route,
      expect.toSatisfy((s) => s === 401 || s === 403 || s === 404),
    ]);
  }
});

test("the session's cookie: given a sign-in, then scripts cannot read it, other sites cannot use it, and it never travels in clear", async () => {
  const { headers } = await ask("POST", "/api/sign-in", {}, { name: "anna", password: PASSWORDS.anna });
  // RFC 6265bis: __Host- asks for Secure, Path=/ and no Domain.
  const [session = "", ...attributes] = headers["set-cookie"]?.[0]?.split("; ") ?? [];
  expect(session).toMatch(/^__Host-dyetrace-session=[A-Za-z0-9_-]{43}$/);
  expect(attributes.sort()).toEqual(["HttpOnly", "Path=/", "SameSite=Strict", "Secure"]); // their order says nothing
});

test("a change: given the cookie alone, then it is refused; with the page's own token it is not; from another site's page never", async () => {
  const { cookie, form } = await signIn("anna");
  expect((await ask("POST", STOP, { cookie })).status).toBe(403);
  const unbound = { cookie: cookie.replace("__Host-", ""), "x-dyetrace-form": form };
  expect((await ask("POST", STOP, unbound)).status).toBe(401); // anybody under the same domain could have set it
  expect((await ask("POST", STOP, { cookie, "x-dyetrace-form": "made up" })).status).toBe(403);
  expect((await ask("POST", STOP, { cookie, "x-dyetrace-form": form })).status).toBe(404); // through, and there is no such run
  const stranger = { cookie, "x-dyetrace-form": form, origin: "https://example.org" };
  expect((await ask("POST", STOP, stranger)).status).toBe(403);
  expect((await ask("POST", STOP, { ...stranger, origin: controller.url })).status).toBe(404);
});

test("roles: given one who may look, then reading works and changes do not", async () => {
  const { cookie, form } = await signIn("otto");
  expect((await ask("GET", "/api/agents", { cookie })).status).toBe(200);
  for (const [method, route] of [
    ["POST", STOP],
    ["POST", "/api/enrolled"],
    ["DELETE", "/api/enrolled/kiosk"],
    ["POST", "/api/agents/kiosk/upgrade"],
  ] as const) {
    const { status, body } = await ask(
      method,
      route,
      { cookie, "x-dyetrace-form": form },
      method === "POST" ? {} : undefined,
    );
    expect([route, status, body["code"]]).toEqual([route, 403, "NOT_ALLOWED"]);
  }
  expect((await ask("POST", "/api/sign-out", { cookie, "x-dyetrace-form": form }, {})).status).toBe(200);
  expect((await ask("GET", "/api/agents", { cookie })).status).toBe(401);
});

test("an operator who is removed: given an open stream of events, then it is cut within 5 s and nothing is answered any more", async () => {
  const { cookie } = await signIn("otto");
  const cut = new Promise<number>((resolve, reject) => {
    const began = performance.now();
    const request = https.get(
      new URL("/api/console/events", controller.url),
      { headers: { cookie }, agent: new PinnedAgent(pin) },
      (response) => {
        response.resume();
        response.on("error", () => undefined);
        response.on("close", () => resolve(performance.now() - began));
        controller.book.change(({ operators }) => ({ operators: operators.filter(({ name }) => name !== "otto") }));
      },
    );
    request.on("error", reject);
  });
  const afterMs = await cut;
  process.stderr.write(`from removing an operator to the end of their stream: ${Math.round(afterMs)} ms\n`);
  expect(afterMs).toBeLessThan(5000);
  expect((await ask("GET", "/api/agents", { cookie })).status).toBe(401);
});

test("a guesser: given wrong passwords and unknown names, then both sound the same, and after some tries nobody listens", async () => {
  const answers: Answer[] = [];
  for (let i = 0; i < 15; i++) {
    const name = i % 2 === 0 ? "anna" : "nobody";
    answers.push(await ask("POST", "/api/sign-in", {}, { name, password: `guess ${i}` }));
  }
  const said = new Set(answers.filter(({ status }) => status === 401).map(({ body }) => body["message"]));
  expect(said.size).toBeLessThanOrEqual(1);
  expect(answers.at(-1)?.status).toBe(429);
  expect(answers.at(-1)?.body["code"]).toBe("TOO_MANY");
});

test("a controller on loopback that nobody signs in to: given a page that made its own name point here, then it is refused", async () => {
  await using open = await startController({ host: "127.0.0.1", port: 0, log: pino({ level: "silent" }) });
  const { port } = new URL(open.url);
  const answer = (host: string, method = "GET", route = "/api/agents"): Promise<number> =>
    new Promise((resolve, reject) => {
      const request = http.request(`http://127.0.0.1:${port}${route}`, { method, headers: { host } }, (response) => {
        response.resume();
        resolve(response.statusCode ?? 0);
      });
      request.on("error", reject);
      request.end();
    });
  expect(await answer(`127.0.0.1:${port}`)).toBe(200);
  expect(await answer(`localhost:${port}`)).toBe(200);
  expect(await answer("rebound.example")).toBe(403);
  expect(await answer("rebound.example", "POST", STOP)).toBe(403);
  expect((await (await fetch(new URL("/api/session", open.url))).json()) as object).toMatchObject({ isOpen: true });
});
