import { statSync } from "node:fs";
import http, { type IncomingHttpHeaders } from "node:http";
import path from "node:path";
import { text } from "node:stream/consumers";
import { afterAll, beforeAll, expect, test } from "vitest";
import { stopLocally } from "../../controller/src/commands/client/stop-locally.ts";
import {
  type OperatorsController,
  operatorRecord,
  PASSWORD,
  startWithOperators,
} from "../field/support/operators-controller.ts";

/** Guessers and floods at a controller's door, and operators who have to get in, or to stop what runs, meanwhile. */
let controller: OperatorsController;
beforeAll(async () => {
  controller = await startWithOperators([await operatorRecord("anna"), await operatorRecord("otto")]);
});
afterAll(() => controller?.[Symbol.asyncDispose]());

interface Asked {
  readonly headers?: Record<string, string>;
  readonly body?: object;
  /** Any of 127.0.0.0/8 is this machine's: guessers with many addresses. */
  readonly from?: string;
  readonly agent?: http.Agent;
}
interface Answer {
  readonly status: number;
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
}
const ask = (method: string, route: string, { headers = {}, body, from, agent }: Asked = {}): Promise<Answer> =>
  new Promise((resolve, reject) => {
    const type = body === undefined ? {} : { "content-type": "application/json" };
    const request = http.request(
      new URL(route, controller.url),
      { method, headers: { ...type, ...headers }, localAddress: from ?? "127.0.0.1", agent: agent ?? false },
      (response) =>
        void text(response).then(
          (words) => resolve({ status: response.statusCode ?? 0, headers: response.headers, body: words }),
          reject,
        ),
    );
    request.on("error", reject);
    request.end(body === undefined ? undefined : JSON.stringify(body));
  });

const signIn = (name: string, from: string, headers: Record<string, string> = {}): Promise<Answer> =>
  ask("POST", "/api/sign-in", { body: { name, password: PASSWORD }, from, headers });
const cookiesOf = ({ headers }: Answer): string[] =>
  (headers["set-cookie"] ?? []).map((one) => one.split(";")[0] ?? "");

/** What a signed-in page sends along. */
async function session(name: string, from: string): Promise<{ headers: Record<string, string>; device: string }> {
  const answer = await signIn(name, from);
  expect(answer.status).toBe(200);
  const [cookie = "", device = ""] = cookiesOf(answer);
  return {
    headers: { cookie, "x-dyetrace-form": (JSON.parse(answer.body) as { formToken: string }).formToken },
    device,
  };
}

test("four guessers who change their addresses: given an operator who has signed in before, then signing in and stopping work all the time", async () => {
  const anna = await session("anna", "127.0.1.1");
  let isOver = false;
  const met = new Map<number, number>();
  const guesser = async (number: number): Promise<void> => {
    for (let i = 0; !isOver; i++) {
      const from = `127.${10 + number}.${(i >> 8) & 255}.${1 + (i & 127)}`;
      const { status } = await ask("POST", "/api/sign-in", { body: { name: "anna", password: `guess ${i}` }, from });
      met.set(status, (met.get(status) ?? 0) + 1);
    }
  };
  // Twelve at a time each, so that both turns and the line are taken.
  const guessers = Array.from({ length: 48 }, (_, i) => guesser(i));
  try {
    await expect.poll(() => (met.get(401) ?? 0) + (met.get(429) ?? 0), { timeout: 20_000 }).toBeGreaterThan(50);
    const took: number[] = [];
    for (let i = 0; i < 3; i++) {
      const began = performance.now();
      expect((await signIn("anna", "127.0.1.1", { cookie: anna.device })).status).toBe(200);
      took.push(Math.round(performance.now() - began));
    }
    expect((await ask("POST", "/api/stop", { headers: anna.headers, from: "127.0.1.1" })).status).toBe(202);
    process.stderr.write(`signing in among guessers: ${took.join(", ")} ms; they met ${JSON.stringify([...met])}\n`);
  } finally {
    isOver = true;
    await Promise.all(guessers);
  }
  expect(met.get(200)).toBeUndefined();
});

test("a flood from an operator's own address: given that it has used up its share, then the operator's requests are answered, and stopping always", async () => {
  const from = "127.0.2.1";
  const otto = await session("otto", from);
  const agent = new http.Agent({ keepAlive: true, maxSockets: 20 });
  const flood = await Promise.all(Array.from({ length: 3100 }, () => ask("GET", "/api/session", { from, agent })));
  expect(flood.filter(({ status }) => status === 429).length).toBeGreaterThan(50);
  expect((await ask("GET", "/api/agents", { headers: otto.headers, from })).status).toBe(200);
  const stopped = await ask("POST", "/api/stop", { headers: otto.headers, from });
  expect([stopped.status, stopped.headers["x-ratelimit-limit"]]).toEqual([202, undefined]); // no share at all
  agent.destroy();
});

test("the controller's own machine: given whoever may read its data folder, then they stop everything without signing in, and it is written down", async () => {
  const { folder } = controller;
  expect(statSync(path.join(folder, "stop.sock")).mode & 0o777).toBe(0o600);
  expect(await stopLocally(folder, null)).toEqual([]);
  await expect(stopLocally(folder, "0123456789abcdef")).rejects.toMatchObject({ code: "RUN_UNKNOWN" });
  await expect(stopLocally(folder, "../../api/runs")).rejects.toMatchObject({ code: "MESSAGE_INVALID" });
  await expect(stopLocally(path.join(folder, "elsewhere"), null)).rejects.toMatchObject({
    code: "CONTROLLER_UNREACHABLE",
  });
  const { headers } = await session("anna", "127.0.3.1");
  expect((await ask("GET", "/api/audit", { headers, from: "127.0.3.1" })).body).toContain("stopped every source");
});

test("a stolen session: given that the password is reset, or the operator removed and added again, then it opens nothing any more", async () => {
  const { book } = controller;
  const from = "127.0.4.1";
  const agents = async (headers: Record<string, string>) => (await ask("GET", "/api/agents", { headers, from })).status;
  const replace = async (): Promise<void> => {
    const record = await operatorRecord("otto");
    book.change(({ operators }) => ({ operators: [...operators.filter(({ name }) => name !== "otto"), record] }));
  };
  const first = await session("otto", from);
  expect(await agents(first.headers)).toBe(200);
  await replace();
  expect(await agents(first.headers)).toBe(401);
  const second = await session("otto", from);
  book.change(({ operators }) => ({ operators: operators.filter(({ name }) => name !== "otto") }));
  await replace();
  expect(await agents(second.headers)).toBe(401);
  // Nor does its device count as known: the password that it was proved with is no more.
  const [, device = ""] = cookiesOf(await signIn("otto", from, { cookie: second.device }));
  expect(device).toMatch(/^dyetrace-device=otto\./);
});
