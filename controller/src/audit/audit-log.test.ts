import type { FastifyInstance } from "fastify";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type Controller, startController } from "../service/controller-service.ts";

let controller: Controller;
let app: FastifyInstance;
const said: string[] = [];
beforeAll(async () => {
  const log = pino({ level: "info" }, { write: (line: string) => void said.push(line) });
  const options = { host: "127.0.0.1", port: 0, agentKey: "key", isSignInNeeded: true, log };
  controller = await startController(options, (made) => {
    app = made;
  });
});
afterAll(() => controller?.close());

test("the trail: given strangers who ask and guess, then no word of theirs stands in it, and one kind is one entry", async () => {
  for (let i = 0; i < 2; i++) {
    const typed = { name: `correct-horse-${i}`, password: "wrong" };
    expect((await app.inject({ method: "POST", url: "/api/sign-in", payload: typed })).statusCode).toBe(401);
    const run = await app.inject({ method: "POST", url: `/api/runs/battery-staple-${i}/abort`, payload: {} });
    expect(run.statusCode).toBe(401);
    const payload = { key: "enrol-x.y", name: `swordfish-${i}` };
    expect((await app.inject({ method: "POST", url: "/agent/enrol", payload })).statusCode).toBe(403);
  }
  await controller.close();
  const trail = said
    .map((line) => JSON.parse(line) as { who?: string; msg: string })
    .filter(({ who }) => who !== undefined);
  expect(trail.map(({ who, msg }) => `${who} ${msg.replace(/within .*/, "")}`)).toEqual([
    "nobody was refused at sign-in",
    "nobody was refused POST /api/runs/:id/abort",
    "nobody was refused when it enrolled",
    "nobody was refused at sign-in, 1 times more ",
    "nobody was refused POST /api/runs/:id/abort, 1 times more ",
    "nobody was refused when it enrolled, 1 times more ",
  ]);
  expect(said.join("")).not.toMatch(/correct-horse|battery-staple|swordfish/);
});
