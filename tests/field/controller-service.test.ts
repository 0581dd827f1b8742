import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { pino } from "pino";
import { afterEach, beforeEach, expect, test } from "vitest";
import { PRACTICE_SAFETY } from "../../controller/src/plan/safety.ts";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";

const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links:
  - core:1 -- tower:eth0
  - core:2 -- kiosk:eth0
`;
const SCENARIO = `scenario: soak
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: board }
  - { after: 8h, stop: board }
`;
const request = (startAt?: string) => ({
  site: { file: "plan.yaml", text: PLAN },
  scenario: { file: "soak.yaml", text: SCENARIO },
  ...(startAt === undefined ? {} : { startAt, startWithinMs: 1000 }),
});

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-service-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const serve = (store: Store): Promise<Controller> =>
  startController({
    host: "127.0.0.1",
    port: 0,
    agentKey: "key",
    store,
    safety: PRACTICE_SAFETY,
    log: pino({ level: "silent" }),
  });

async function ask(controller: Controller, route: string, body?: object) {
  const response = await fetch(new URL(route, controller.url), {
    ...(body === undefined
      ? {}
      : { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } }),
  });
  return { status: response.status, text: await response.text() };
}

test("GET /metrics: given a controller, then every line is in Prometheus' text format", async () => {
  await using store = await openStore({ kind: "folder", folder });
  await using controller = await serve(store);
  const { status, text } = await ask(controller, "/metrics");
  expect(status).toBe(200);
  // Prometheus, exposition formats, text format 0.0.4: name, optional labels, a number; or a comment.
  for (const line of text.split("\n").filter((one) => one !== "")) {
    expect(line).toMatch(/^(# (HELP|TYPE) .+|[a-zA-Z_:][a-zA-Z0-9_:]*(\{([a-z_]+="[^"]*",?)*\})? [0-9.e+-]+)$/);
  }
  expect(text).toContain("dyetrace_agents_connected 0");
  expect(text).toContain("dyetrace_store_in_trouble 0");
});

test("GET /api/openapi.json: given the routes, then each that an operator may use is described with its method", async () => {
  await using store = await openStore({ kind: "folder", folder });
  await using controller = await serve(store);
  const document = JSON.parse((await ask(controller, "/api/openapi.json")).text);
  expect(document.openapi).toBe("3.1.0");
  expect(Object.keys(document.paths["/api/runs"])).toEqual(expect.arrayContaining(["get", "post"]));
  expect(document.paths["/api/runs"].post.requestBody.content["application/json"].schema.required).toEqual(
    expect.arrayContaining(["scenario", "site"]),
  );
  for (const route of ["/api/runs/{id}", "/api/runs/{id}/night", "/api/baselines/{name}"]) {
    expect(document.paths[route].get.summary).toEqual(expect.any(String));
  }
});

test("POST /api/runs/need: given a night, then what it takes is told before anything starts", async () => {
  await using store = await openStore({ kind: "folder", folder });
  await using controller = await serve(store);
  const { status, text } = await ask(controller, "/api/runs/need", request());
  expect(status).toBe(200);
  expect(JSON.parse(text).controllerBytes).toBeGreaterThan(1e5);
  expect(await store.runs.list({ most: 10 })).toEqual([]);
});

test("POST /api/runs: given a request without a plan and a scenario, then it is the request's mistake and not ours", async () => {
  await using store = await openStore({ kind: "folder", folder });
  await using controller = await serve(store);
  const { status, text } = await ask(controller, "/api/runs", {});
  expect([status, JSON.parse(text).code]).toEqual([400, "MESSAGE_INVALID"]);
});

test("a scheduled run: given a controller that was restarted before its time, then it still begins then, and says why it could not run", async () => {
  await using store = await openStore({ kind: "folder", folder });
  const startsAtMs = Date.now() + 5000; // two controllers start until then, on a busy machine
  let runId = "";
  {
    await using first = await serve(store);
    const { status, text } = await ask(first, "/api/runs", request(new Date(startsAtMs).toISOString()));
    expect(status).toBe(202);
    runId = JSON.parse(text).runId;
    expect(await store.runs.get(runId)).toMatchObject({ state: "scheduled" });
  }
  await using second = await serve(store);
  expect((await ask(second, `/api/runs/${runId}/progress`)).status).toBe(404); // it waits, and does not go on
  await expect.poll(async () => (await store.runs.get(runId)).state, { timeout: 15_000 }).toBe("failed");
  expect(Date.now()).toBeGreaterThanOrEqual(startsAtMs);
  expect((await store.runs.get(runId)).failure).toMatchObject({
    code: "AGENT_MISSING",
    message: expect.stringContaining("tower, kiosk"),
  });
});

test("a scheduled run: given that it is cancelled, then it never begins and the list says so", async () => {
  await using store = await openStore({ kind: "folder", folder });
  await using controller = await serve(store);
  const { text } = await ask(controller, "/api/runs", request(new Date(Date.now() + 3600e3).toISOString()));
  const { runId } = JSON.parse(text);
  expect((await ask(controller, `/api/runs/${runId}/abort`, {})).status).toBe(202);
  expect(await store.runs.get(runId)).toMatchObject({
    state: "failed",
    failure: {
      code: "RUN_CANCELLED",
      message: "It was cancelled by somebody at the controller's machine before its start",
    },
  });
});

test("a run that had not begun: given a controller that ended meanwhile, then the next one says so instead of waiting for it", async () => {
  await using store = await openStore({ kind: "folder", folder });
  const facts = {
    runId: "00000000000000aa",
    site: "s",
    scenario: "s",
    request: request(),
    endNs: 1e9,
    startAtMs: null,
  };
  await store.runs.add({ ...facts, programVersion: "0", owner: "gone" });
  await using controller = await serve(store);
  expect((await ask(controller, `/api/runs/${facts.runId}/progress`)).status).toBe(404);
  expect(await store.runs.get(facts.runId)).toMatchObject({ state: "failed", failure: { code: "AGENT_LOST" } });
});
