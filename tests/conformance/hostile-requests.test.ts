import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { AccessBook } from "../../controller/src/access/access-book.ts";
import { hashPassword } from "../../controller/src/access/password.ts";
import { accountOfRun } from "../../controller/src/account/run-account.ts";
import { buildReport } from "../../controller/src/conclude/build-report.ts";
import { compileScenario } from "../../controller/src/plan/compile-scenario.ts";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";
import { type Asker, fuzzRequests } from "../simulation/fuzz/fuzz-requests.ts";
import type { Route } from "../simulation/fuzz/requests.ts";
import { simulateEvidence } from "../simulation/simulate-evidence.ts";

/**
 * Every route of a controller, asked by strangers, viewers and operators with words, queries, headers and bodies that no
 * client of ours sends. By hand, for longer and with other seeds, with nothing else on this machine:
 * `DYETRACE_FUZZ=200000 DYETRACE_SEED=7 npx vitest run --config tests/vitest.config.ts --project unit tests/conformance/hostile-requests`
 */
const TRIES = Number(process.env["DYETRACE_FUZZ"] ?? 200);
const SEED = Number(process.env["DYETRACE_SEED"] ?? 0x5eed);
/** By hand; beside the rest of the suite only a real hang counts. */
const HANG_MS = process.env["DYETRACE_FUZZ"] === undefined ? 5000 : 100;

const PLAN = `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host }, phone: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0", "core:3 -- phone:eth0" ]
`;
const SCENARIO = `scenario: reach
parameters: { length: 2s }
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 200 kbit/s } ]
timeline: [ { at: 0s, join: board, agents: [kiosk, phone] }, { at: 1s, emit: board }, { after: $length, stop: board } ]
expect: { loss: 0.1 % }
`;
const [FIRST, SECOND] = ["00000000000000aa", "00000000000000ab"];
const site = { file: "plan.yaml", text: PLAN };
const request = { site, scenario: { file: "reach.yaml", text: SCENARIO } };
const PASSWORD = "correct horse 1";
/** What one operator asks for before the next takes over: each has a share in a minute. */
const SHARE = 2500;
const OPERATORS = Math.ceil(TRIES / 3 / SHARE) + 1;

const BODIES = {
  "POST /api/runs": { ...request, startAt: "2099-11-25T22:00:00Z", parameters: { length: "1s" }, despite: ["advice"] },
  "POST /api/runs/need": request,
  "POST /api/console/run-check": request,
  "POST /api/console/plan-check": site,
  "PUT /api/console/plan": site,
  "PUT /api/baselines/{name}": { runId: FIRST },
  "POST /api/sign-in": { name: "stranger", password: PASSWORD },
  "POST /api/enrolled": { name: "kiosk", interface: "eth0" },
  "POST /agent/enrol": { key: "0".repeat(43), name: "kiosk" },
};
const HIDDEN = ["GET /agent/install", "POST /agent/enrol", "GET /agent/package.signed.json", "GET /api/openapi.json"];
const HIDDEN_TOO = [
  "GET /agent/package.tgz",
  "GET /metrics",
  "GET /",
  "GET /{file}",
  "GET /assets/{file}",
  "GET /agent-link",
];
const KNOWN = {
  params: {
    id: [FIRST, SECOND, FIRST, "last"],
    run: [FIRST],
    name: ["kiosk", "calm-night"],
    agent: ["kiosk"],
    stream: ["1"],
    file: ["report.html", "report.json", "junit.xml", "receipts.csv", "gaps.csv", "index.html"],
  },
  queries: ["most=50", "finding=0", `against=${SECOND}`, "most=10000"],
  bodies: BODIES,
};

let folder = "";
let store: Store;
let controller: Controller;
let app: FastifyInstance;
let routes: readonly Route[] = [];
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-requests-"));
  store = await openStore({ kind: "memory" });
  const graph = loadSitePlan(PLAN, "plan.yaml");
  for (const runId of [FIRST, SECOND]) {
    const run = compileScenario(runId, loadScenario(SCENARIO, "reach.yaml").scenario, graph, new Map());
    const about = { runId, site: "Quillfen", scenario: "reach", request, endNs: run.endNs, startAtMs: null };
    await store.runs.add({ ...about, programVersion: "0", owner: "o" });
    const evidence = simulateEvidence(run, (_stream, agent, seq) => agent === "phone" && seq % 7 === 3);
    await store.runs.done(buildReport(accountOfRun(run, evidence), graph));
  }
  const password = await hashPassword(PASSWORD);
  const since = new Date().toISOString();
  const operators = (["view", "operate"] as const).flatMap((role) =>
    Array.from({ length: OPERATORS }, (_, index) => ({ name: `${role}-${index}`, role, password, since })),
  );
  new AccessBook(folder).change(() => ({ operators }));
  const log = pino({ level: "silent" });
  const options = { host: "127.0.0.1", port: 0, isSignInNeeded: true, dataFolder: folder, store, log };
  controller = await startController(options, (made) => {
    app = made;
  });
  const { paths } = app.swagger() as { paths: Record<string, object> };
  const declared = Object.entries(paths).flatMap(([url, methods]) =>
    Object.keys(methods).map((method) => ({ method: method.toUpperCase(), url })),
  );
  const hidden = [...HIDDEN, ...HIDDEN_TOO].map((one) => {
    const [method = "", url = ""] = one.split(" ");
    return { method, url };
  });
  routes = [...declared, ...hidden];
});
afterAll(async () => {
  await controller?.close();
  await store?.close();
  rmSync(folder, { recursive: true, force: true });
});

const stranger: Asker = { kind: "a stranger", headers: async () => ({}), told: () => undefined };

/** Operators one after the other, each until its share is used up or it is signed out. */
function operatorsOf(role: "view" | "operate"): Asker {
  let [number, asked, isSignedIn, signIns] = [-1, 0, false, 0];
  let shows: Readonly<Record<string, string>> = {};
  return {
    kind: role,
    headers: async () => {
      if (number < 0 || asked >= SHARE) [number, asked, isSignedIn] = [number + 1, 0, false];
      asked++;
      if (isSignedIn) return shows;
      const answer = await app.inject({
        method: "POST",
        url: "/api/sign-in",
        headers: { host: "127.0.0.1" },
        remoteAddress: `203.0.113.${signIns++ % 255}`,
        payload: { name: `${role}-${number}`, password: PASSWORD },
      });
      const { token, formToken } = answer.json<{ token: string; formToken: string }>();
      const cookie = answer.cookies.find(({ name }) => name === "dyetrace-session");
      shows =
        number % 2 === 0
          ? { authorization: `Bearer ${token}` }
          : { cookie: `dyetrace-session=${cookie?.value}`, "x-dyetrace-form": formToken };
      isSignedIn = true;
      return shows;
    },
    told: (status) => {
      if (status === 401) isSignedIn = false;
    },
  };
}

test("every route: given requests of strangers, viewers and operators with places changed, then each is answered, none with a failure of ours, and soon", async () => {
  expect(routes.length).toBeGreaterThan(35);
  const askers = [stranger, operatorsOf("view"), operatorsOf("operate")];
  const how = { tries: TRIES, seed: SEED, hangMs: HANG_MS };
  const { statuses, slowestMs, failures } = await fuzzRequests(app, routes, KNOWN, askers, how);
  process.stderr.write(
    `requests, seed ${SEED}: ${TRIES} tries, ${JSON.stringify(statuses)}, slowest ${slowestMs.toFixed(1)} ms\n`,
  );
  expect(failures).toEqual([]);
  // It does not stop at the door each time.
  expect(statuses[200] ?? 0).toBeGreaterThan(TRIES / 20);
  expect(statuses[400] ?? 0).toBeGreaterThan(TRIES / 20);
}, 3_600_000);

test("security events: given a sign-in that is refused, then it is a count that a monitor can ask for", async () => {
  const count = async (): Promise<number> => {
    const headers = { host: "127.0.0.1", ...(await operatorsOf("view").headers()) };
    const { body } = await app.inject({ url: "/metrics", headers });
    return Number(/^dyetrace_security_events_total\{event="sign-in-refused"\} ([0-9]+)$/m.exec(body)?.[1] ?? 0);
  };
  const before = await count();
  const payload = { name: "view-0", password: "guessed wrongly" };
  const remoteAddress = "192.0.2.9";
  await app.inject({ method: "POST", url: "/api/sign-in", headers: { host: "127.0.0.1" }, remoteAddress, payload });
  expect(await count()).toBe(before + 1);
});
