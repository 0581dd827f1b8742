import { spawn } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import https from "node:https";
import path from "node:path";
import { text } from "node:stream/consumers";
import { fileURLToPath } from "node:url";
import { PinnedAgent } from "@dyetrace/pin";
import type { TokenMade } from "@dyetrace/wire/console/access-token";
import { afterAll, beforeAll, expect, test } from "vitest";
import { OperatorTokens } from "../../controller/src/access/operator-tokens.ts";
import {
  type OperatorsController,
  operatorRecord,
  PASSWORD,
  startWithOperators,
} from "../field/support/operators-controller.ts";

/** What tokens of programs open at a controller that others can reach, what they never do, and what a guesser meets. */
const PROGRAM = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));

let controller: OperatorsController;
let pin = "";
let anna = "";
beforeAll(async () => {
  controller = await startWithOperators([await operatorRecord("anna")], { isTls: true });
  pin = controller.pin ?? "";
  const { body } = await ask("POST", "/api/sign-in", null, { name: "anna", password: PASSWORD });
  anna = (JSON.parse(body) as { token: string }).token;
});
afterAll(() => controller?.[Symbol.asyncDispose]());

interface Answer {
  readonly status: number;
  readonly body: string;
}
function open(method: string, route: string, bearer: string | null, body?: object, from = "127.0.0.1") {
  const type = body === undefined ? {} : { "content-type": "application/json" };
  const headers = { ...type, ...(bearer === null ? {} : { authorization: `Bearer ${bearer}` }) };
  const options = { method, headers, agent: new PinnedAgent(pin), localAddress: from };
  const request = https.request(new URL(route, controller.url), options);
  request.end(body === undefined ? undefined : JSON.stringify(body));
  return request;
}
const ask = (...asked: Parameters<typeof open>): Promise<Answer> =>
  new Promise((resolve, reject) => {
    open(...asked)
      .on("error", reject)
      .on("response", (response) => {
        text(response).then((words) => resolve({ status: response.statusCode ?? 0, body: words }), reject);
      });
  });

async function make(name: string, scope: "view" | "operate"): Promise<string> {
  const { status, body } = await ask("POST", "/api/tokens", anna, { name, scope, lastsS: 3600 });
  expect(status).toBe(200);
  return (JSON.parse(body) as TokenMade).token;
}
const trail = (): string => readFileSync(path.join(controller.folder, "audit.jsonl"), "utf8");
const STOP = "/api/runs/0123456789abcdef/abort";

test("scope: given a token to look, then it reads what an operator reads, /metrics too, and starts and stops nothing; one to operate does", async () => {
  const [looks, operates] = [await make("prometheus", "view"), await make("ci", "operate")];
  for (const route of ["/metrics", "/api/agents", "/api/runs", "/api/audit", "/api/tokens", "/api/openapi.json"]) {
    expect([route, (await ask("GET", route, looks)).status]).toEqual([route, 200]);
  }
  for (const [method, route] of [
    ["POST", "/api/runs"],
    ["POST", STOP],
    ["POST", "/api/stop"],
    ["PUT", "/api/console/plan"],
    ["POST", "/api/enrolled"],
    ["POST", "/api/enrolled/rotate"],
  ] as const) {
    expect([route, (await ask(method, route, looks, {})).status]).toEqual([route, 403]);
  }
  expect((await ask("POST", STOP, operates, {})).status).toBe(404); // let through: there is no such run
  expect((await ask("POST", "/api/stop", operates)).status).toBe(202);
  expect(trail()).toMatch(/"who":"token prometheus".*was used for the first time/);
  expect(trail()).toMatch(/"who":"token ci".*stopped every source/);
  const metrics = (await ask("GET", "/metrics", looks)).body;
  expect(metrics).toMatch(/^dyetrace_token_end_timestamp_seconds\{token="prometheus"\} \d+/m);
  expect(metrics).toMatch(/^dyetrace_security_events_total\{event="token-first-used"\} 2$/m);
});

test("tokens: given a token to operate, then it neither makes nor removes tokens; nor is there any other way for it to last longer", async () => {
  const operates = await make("climber", "operate");
  const order = { name: "second", scope: "view", lastsS: null };
  const made = await ask("POST", "/api/tokens", operates, order);
  expect([made.status, made.body]).toEqual([403, expect.stringContaining("No token may make or remove tokens")]);
  expect((await ask("DELETE", "/api/tokens/climber", operates)).status).toBe(403);
  // What goes by `Authorization` alone is no session: no form token comes of it.
  expect(JSON.parse((await ask("GET", "/api/session", operates)).body)).toMatchObject({ formToken: null });
});

test("its end: given a token whose time is over, then it is refused in a sentence, and its name is written down; one that is removed is unknown", async () => {
  const past = new OperatorTokens(controller.book, { of: () => null });
  const { token } = past.add(
    { name: "night", scope: "view", lastsMs: 1000, by: "a test", operator: null },
    Date.now() - 5000,
  );
  const { status, body } = await ask("GET", "/api/agents", token, undefined, "127.0.5.1");
  expect([status, body]).toEqual([401, expect.stringContaining("The time of the token night is over")]);
  expect(trail()).toMatch(/"who":"token night".*its time is over/);
  const gone = await make("short", "view");
  expect((await ask("DELETE", "/api/tokens/short", anna)).status).toBe(200);
  expect((await ask("GET", "/api/agents", gone, undefined, "127.0.5.1")).status).toBe(401);
});

test("a removed token: given open streams of events, then they are cut within a second, whichever way it was removed", async () => {
  const byHand = (name: string): unknown => new OperatorTokens(controller.book, { of: () => null }).remove(name);
  const overHttp = (name: string): unknown => ask("DELETE", `/api/tokens/${name}`, anna);
  for (const [name, remove] of [["wall", byHand] as const, ["desk", overHttp] as const]) {
    const token = await make(name, "view");
    const afterMs = await new Promise<number>((resolve, reject) => {
      let removedMs = 0;
      open("GET", "/api/console/events", token)
        .on("error", reject)
        .on("response", (response) => {
          response.on("error", () => undefined);
          response.on("close", () => resolve(performance.now() - removedMs));
          response.once("data", () => {
            removedMs = performance.now();
            void remove(name);
          });
        });
    });
    process.stderr.write(`from removing a token to the end of its stream: ${Math.round(afterMs)} ms\n`);
    expect(afterMs).toBeLessThan(2000); // a second, and what a busy machine adds
  }
});

test("a guesser: given forty wrong tokens, then from the eleventh on nobody listens; from the same address the right token and the operator get in", async () => {
  const from = "127.0.6.1";
  const right = await make("cron", "view");
  const guess = (i: number): string => `${right.slice(0, 26)}${String(i).padStart(43, "A")}`;
  const answers = [];
  for (let i = 0; i < 40; i++) answers.push((await ask("GET", "/api/session", guess(i), undefined, from)).status);
  expect(answers.slice(0, 10)).toEqual(Array(10).fill(200)); // the page's own question: nobody has signed in
  expect(answers.slice(10)).toEqual(Array(30).fill(429));
  expect((await ask("GET", "/api/agents", right, undefined, from)).status).toBe(200);
  expect((await ask("GET", "/api/agents", anna, undefined, from)).status).toBe(200);
  const signIn = await ask("POST", "/api/sign-in", null, { name: "anna", password: PASSWORD }, from);
  expect(signIn.status).toBe(200);
  const metrics = (await ask("GET", "/metrics", right, undefined, from)).body;
  const refused = Number(/token-refused"\} (\d+)/.exec(metrics)?.[1]);
  expect(refused).toBeGreaterThanOrEqual(40);
  // One entry at once, and one that counts the rest later: the log is not washed out.
  expect(trail().match(/with a token that opens nothing/g)?.length).toBe(1);
});

test("commands: given a token in a file or the environment, then they ask with it over TLS; given another one, then the sentence says so", async () => {
  const token = await make("shell", "view");
  const file = path.join(controller.folder, "token");
  writeFileSync(file, `${token}\n`, { mode: 0o600 });
  const run = (argv: readonly string[], env: Record<string, string> = {}) =>
    start([PROGRAM, ...argv, "--controller", controller.url, "--pin", pin], env);
  const listed = await run(["token", "list", "--json", "--token-file", file]);
  expect([listed.code, listed.stderr]).toEqual([0, ""]);
  const own = (JSON.parse(listed.stdout) as { name: string; lastUse: { from: string } | null }[]).find(
    ({ name }) => name === "shell",
  );
  expect(own?.lastUse?.from).toMatch(/127\.0\.0\.1$/);
  expect((await run(["agents", "list"], { DYETRACE_TOKEN: token })).stdout).toBe("No agent is enrolled.\n");
  const refused = await run(["runs"], { DYETRACE_TOKEN: `${token.slice(0, -3)}AAA` });
  expect([refused.code, refused.stderr]).toEqual([
    2,
    expect.stringContaining("This token is not known, or was removed"),
  ]);
  const stopped = await run(["stop"], { DYETRACE_TOKEN: token });
  expect([stopped.code, stopped.stderr]).toEqual([2, expect.stringContaining("token shell may look, not operate")]);
});

/** This process is the controller too, so it may not wait without its event loop. */
async function start(argv: readonly string[], env: Record<string, string>) {
  const child = spawn(process.execPath, argv, {
    env: { ...process.env, XDG_CONFIG_HOME: controller.folder, ...env },
    stdio: ["ignore", "pipe", "pipe"],
  });
  const [stdout, stderr, code] = await Promise.all([
    text(child.stdout),
    text(child.stderr),
    new Promise<number | null>((resolve) => child.once("exit", resolve)),
  ]);
  return { stdout, stderr, code };
}
