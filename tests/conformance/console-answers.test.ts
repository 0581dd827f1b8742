import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { gunzipSync } from "node:zlib";
import type { TSchema } from "@dyetrace/schema";
import { type MembershipEvent, type RunProgress, RunProgressSchema, type RunReport } from "@dyetrace/wire";
import { API_ROUTES } from "@dyetrace/wire/console/api-routes";
import { type ConsoleEvent, ConsoleEventSchema } from "@dyetrace/wire/console/console-event";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { type DrawEvent, DrawEventSchema } from "@dyetrace/wire/console/plan-draw";
import type { EditAnswer } from "@dyetrace/wire/console/plan-edit";
import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import type { FastifyInstance } from "fastify";
import { pino } from "pino";
import { Value } from "typebox/value";
import { afterAll, beforeAll, expect, test } from "vitest";
import { AccessBook } from "../../controller/src/access/access-book.ts";
import { hashPassword } from "../../controller/src/access/password.ts";
import { PRACTICE_SAFETY } from "../../controller/src/plan/safety.ts";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";
import { playFalseAgent } from "../faults/false-agent.ts";
import { helloOf, Stranger } from "../faults/stranger.ts";
import { UPGRADE_PLAN, UPGRADE_SCENARIO, type UpgradeRecording } from "../field/support/upgrade-site.ts";
import { answerFrom, playDevice } from "../simulation/devices/played-device.ts";
import { switchObjects } from "../simulation/devices/played-switch.ts";

/**
 * What the routes really answer, against what they declare: every field that is declared is there, and nothing more.
 * Agents are played; what they "received" is made up and counted by a real tracker.
 */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 0s, emit: board }
  - { at: 2s, stop: board }
`;
const RECORDING = new URL("../field/recordings/upgrade.json.gz", import.meta.url);

/** Told line by line: the second, third and fourth test. */
const LINES = ["GET /api/console/events", "GET /api/runs/:id/progress", "POST /api/console/plan-draw"];
/** Files; and what needs the packed agent, which tests/field/agent-enrolment upgrades for real. */
const NOT_ASKED = [
  "GET /api/backup",
  "GET /api/console/runs/:id/files/evidence.zip",
  "GET /api/console/runs/:id/files/:file",
  "GET /api/console/runs/:id/exhibits/:number",
  "GET /api/audit/export",
  "POST /api/agents/:name/upgrade",
];

interface Answer {
  readonly route: string;
  readonly schema: TSchema | undefined;
  readonly body: unknown;
}

let folder = "";
let store: Store;
let open: Controller;
let guarded: Controller;
const routes = new Set<string>();
const answers: Answer[] = [];
const events: unknown[] = [];
const progress: unknown[] = [];
const drawing: unknown[] = [];
const following = new AbortController();

/** Notes every good answer with the schema of its route. */
function listen(app: FastifyInstance): void {
  app.addHook("preSerialization", async (request, reply, payload) => {
    const { url = "", schema } = request.routeOptions;
    if (reply.statusCode >= 400) return;
    const responses = schema?.response as Readonly<Record<number, TSchema>> | undefined;
    const body: unknown = JSON.parse(JSON.stringify(payload));
    answers.push({ route: `${request.method} ${url}`, schema: responses?.[reply.statusCode], body });
  });
}

beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-answers-"));
  const log = pino({ level: "silent" });
  const here = { host: "127.0.0.1", port: 0, log };
  store = await openStore({ kind: "memory" });
  open = await startController({ ...here, agentKey: "key", store, safety: PRACTICE_SAFETY }, listen);
  const since = new Date().toISOString();
  const operators = [
    { name: "anna", role: "operate" as const, password: await hashPassword("correct horse 1"), since },
  ];
  new AccessBook(folder).change(() => ({ operators }));
  guarded = await startController({ ...here, isSignInNeeded: true, dataFolder: folder }, listen);
  const document = (await (await fetch(`${open.url}/api/openapi.json`)).json()) as { paths: Record<string, object> };
  for (const [url, methods] of Object.entries(document.paths)) {
    for (const method of Object.keys(methods))
      routes.add(`${method.toUpperCase()} ${url.replace(/\{(\w+)\}/g, ":$1")}`);
  }
}, 60_000);
afterAll(async () => {
  following.abort();
  await open?.close();
  await store?.close();
  await guarded?.close();
  rmSync(folder, { recursive: true, force: true });
});

async function ask<T>(method: string, url: string, body?: object, headers: Record<string, string> = {}): Promise<T> {
  const response = await fetch(url, {
    method,
    headers: { ...headers, ...(body === undefined ? {} : { "content-type": "application/json" }) },
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
  });
  const text = await response.text();
  if (!response.ok) throw new Error(`${method} ${url}: ${text}`);
  return JSON.parse(text) as T;
}

/** Takes what a route says line by line, as it comes. */
async function follow(url: string, told: unknown[], body?: object): Promise<void> {
  const headers = { "content-type": "application/json" };
  const posted = body === undefined ? {} : { method: "POST", headers, body: JSON.stringify(body) };
  const response = await fetch(url, { signal: following.signal, ...posted });
  let pending = "";
  for await (const part of response.body?.pipeThrough(new TextDecoderStream()) ?? []) {
    const lines = `${pending}${part}`.split("\n");
    pending = lines.pop() ?? "";
    told.push(...lines.map((line): unknown => JSON.parse(line)));
  }
}

async function until(what: string, isSo: () => boolean): Promise<void> {
  const deadline = performance.now() + 30_000;
  while (!isSo()) {
    if (performance.now() > deadline) throw new Error(`Not within 30 s: ${what}`);
    await sleep(20);
  }
}

type EventOf<Kind> = Extract<ConsoleEvent, { readonly kind: Kind }>;
const toldOf = <Kind extends ConsoleEvent["kind"]>(kind: Kind): EventOf<Kind>[] =>
  (events as ConsoleEvent[]).filter((event): event is EventOf<Kind> => event.kind === kind);

const files = { site: { file: "plan.yaml", text: PLAN }, scenario: { file: "reach.yaml", text: SCENARIO } };

/** The same with nothing allowed that is not declared. */
function sealed(schema: unknown): unknown {
  if (Array.isArray(schema)) return schema.map(sealed);
  if (typeof schema !== "object" || schema === null) return schema;
  const inner = Object.fromEntries(Object.entries(schema).map(([key, value]) => [key, sealed(value)]));
  return "properties" in inner ? { additionalProperties: false, ...inner } : inner;
}
const mistakes = (schema: TSchema, value: unknown): unknown[] =>
  Value.Errors(JSON.parse(JSON.stringify(sealed(schema))) as TSchema, value);

/** Said by a switch to everybody (RFC 3376 4.1), and heard by an agent. */
const QUERY: MembershipEvent = {
  atNs: 1e8,
  direction: "in",
  message: {
    kind: "query",
    family: 4,
    sourceMac: "02:00:00:00:00:01",
    destinationMac: "01:00:5e:00:00:01",
    vlanId: null,
    source: "192.0.2.250",
    destination: "224.0.0.1",
    ttlHops: 1,
    hasRouterAlert: true,
    protocol: "igmp",
    version: 3,
    checksum: "good",
    group: null,
    sources: [],
    maxResponseMs: 10_000,
    suppressesRouters: false,
    robustness: 2,
    queryIntervalMs: 125_000,
    hasExtension: false,
  },
};
const HEARD = { sinceNs: -1e9, streams: [], membership: [QUERY], unlistedMembership: 0, dropped: 0 };

/** A run that two played agents carry out, while a console looks on. */
async function playRun(): Promise<ConsoleRun> {
  const { url } = open;
  const agents = await Promise.all(
    ["tower", "kiosk"].map((name) =>
      playFalseAgent({ url, key: "key", name }, (report, second) =>
        second === 0 ? { ...report, watch: HEARD } : report,
      ),
    ),
  );
  await ask("POST", `${url}/api/runs`, files);
  await Promise.all(agents.map(({ over }) => over));
  const isOver = ({ run }: { readonly run: ConsoleRun }): boolean => run.stage === "over";
  await until("the run is over", () => toldOf("run").some(isOver));
  for (const { hello } of agents) hello.socket.close();
  const over = toldOf("run").find(isOver)?.run;
  if (over?.report == null) throw new Error(`It could not run: ${JSON.stringify(over?.failure)}`);
  return over;
}

/** Two runs that were recorded on a practice site, so that reports hold what a real site gives. */
async function keepRecordings(): Promise<readonly string[]> {
  const { same } = JSON.parse(gunzipSync(readFileSync(RECORDING)).toString("utf8")) as UpgradeRecording<RunReport>;
  const request = {
    site: { file: "plan.yaml", text: UPGRADE_PLAN },
    scenario: { file: "upgrade.yaml", text: UPGRADE_SCENARIO },
  };
  const reports = same.slice(0, 2);
  for (const report of reports) {
    const { run: runId, site, scenario } = report;
    const about = { runId, site, scenario, request, endNs: 36e9, startAtMs: null, programVersion: "0.1.0", owner: "x" };
    await store.runs.add(about);
    await store.runs.done(report);
  }
  return reports.map(({ run }) => run);
}

/** One that a played agent answers, as an agent without the right to watch does; then it is read, compared and deleted. */
async function takeInventory(url: string, agent: Stranger): Promise<void> {
  const { id } = await ask<{ id: string }>("POST", `${url}/api/inventories`, { forMs: 1000 });
  const order = await agent.hears("look");
  agent.say({ kind: "looked", id: order["id"], sight: null, why: "It may not open packet sockets" });
  const isDone = async (): Promise<boolean> => {
    const list = await ask<{ id: string; state: string }[]>("GET", `${url}/api/inventories`);
    return list.some((one) => one.id === id && one.state === "done");
  };
  while (!(await isDone())) await new Promise((resolve) => setTimeout(resolve, 50));
  expect(await ask("GET", `${url}/api/inventories/${id}`)).toMatchObject({
    agents: [{ agent: "kiosk-9", lookedMs: null }],
  });
  await ask("GET", `${url}/api/inventories/${id}/changes?since=${id}`);
  await ask("DELETE", `${url}/api/inventories/${id}`);
}

/** One that nobody plays: what is told of it is the same, with nothing known. */
async function readNoDevice(url: string): Promise<void> {
  const access = { version: "2c", community: "quillfen" };
  await ask("POST", `${url}/api/devices`, { node: "core", address: "127.0.0.1", port: 9, access });
  expect(await ask("GET", `${url}/api/devices`)).toMatchObject([{ node: "core", by: "snmp-v2c" }]);
  expect(await ask("POST", `${url}/api/devices/core/reading`)).toMatchObject({ node: "core", ports: null });
  await ask("PUT", `${url}/api/devices/core/table`, { groups: [{ vlan: 10, group: "239.195.10.4", ports: ["1"] }] });
  expect(await ask("GET", `${url}/api/devices/readings`)).toMatchObject([
    { node: "core", by: "snmp-v2c" },
    { by: "pasted" },
  ]);
  await ask("GET", `${url}/api/devices/core/reading`);
  await follow(`${url}/api/console/plan-draw`, drawing, { updates: null });
  await using device = await playDevice((question, reply) => reply(answerFrom(switchObjects())(question)));
  await ask("POST", `${url}/api/devices`, { node: "core", address: "127.0.0.1", port: device.port, access });
  await follow(`${url}/api/console/plan-draw`, drawing, { updates: null });
  await ask("DELETE", `${url}/api/devices/core`);
  expect(await ask("GET", `${url}/api/surroundings`)).toBeInstanceOf(Array);
}

test("console API: given every route of it, then what it answers is what it declares, field by field", async () => {
  const { url } = open;
  void follow(`${url}/api/console/events`, events).catch(() => undefined); // cut at the end
  await until("the first event", () => events.length > 0);
  await ask("PUT", `${url}/api/console/plan`, files.site);
  await ask("POST", `${url}/api/console/plan-check`, files.site);
  await ask("POST", `${url}/api/console/plan-check`, { file: "plan.yaml", text: "site: [" });
  const edit = { kind: "rename", node: "kiosk", to: "booth" };
  const edited = await ask<EditAnswer>("POST", `${url}/api/console/plan-edit`, { plan: files.site, edit });
  expect(edited).toMatchObject({ kind: "edited", text: expect.stringContaining("core:2 -- booth:eth0") });
  const refused = { plan: files.site, edit: { ...edit, to: "tower" } };
  expect(await ask("POST", `${url}/api/console/plan-edit`, refused)).toMatchObject({ kind: "refused" });
  await ask("POST", `${url}/api/console/run-check`, files);
  await ask("POST", `${url}/api/console/run-check`, { ...files, scenario: { file: "x.yaml", text: "scenario: x\n" } });
  await ask("GET", `${url}/health`);
  for (const one of ["status", "console/scenarios", "console/new-agent"]) await ask("GET", `${url}/api/${one}`);

  const agent = await Stranger.at(url);
  agent.say(helloOf("kiosk-9", "key", { lacks: ["It may not open packet sockets"] }));
  await agent.hears("welcome");
  await ask("GET", `${url}/api/agents`);
  await takeInventory(url, agent);
  await readNoDevice(url);
  agent.socket.close();
  const live = await playRun();
  await ask("GET", `${url}/api/console/live/${live.runId}/kiosk/${live.outline.streams[0]?.streamId}`);
  await ask("GET", `${url}/api/console/runs/${live.runId}`);
  await ask("GET", `${url}/api/runs/${live.runId}`);
  await ask("GET", `${url}/api/runs/${live.runId}/story`);
  expect(await ask("GET", `${url}/api/runs/${live.runId}/headers`)).toBeNull();
  await store.captures.keep({
    ...{ formatVersion: 1, run: live.runId, startedAt: "2026-11-30T00:00:00.000Z" },
    agents: [{ agent: "kiosk", interfaceName: "eth0", uncertaintyNs: null, headers: null, why: "it was away" }],
  });
  await ask("GET", `${url}/api/runs/${live.runId}/headers`);
  await ask("GET", `${url}/api/runs/${live.runId}/night`);
  await ask("GET", `${url}/api/runs/${live.runId}/matrix`);
  await ask("GET", `${url}/api/history/trends?most=5`);
  await follow(`${url}/api/runs/${live.runId}/progress`, progress); // ends with the run
  const replay = await ask<RunReplay>("GET", `${url}/api/console/runs/${live.runId}/replay`);
  // As the played listener told: in each second of the two that the source sent for, something came.
  expect(replay.strips.find(({ agent }) => agent === "kiosk")?.marks).toMatch(/^[f1-4.]{2}/);
  void follow(`${url}/api/console/events`, events).catch(() => undefined);
  await until("whoever comes after a run is told of it", () =>
    toldOf("hello").some(({ run, strips, heard }) => run !== null && strips.length > 0 && heard.length > 0),
  );

  const [before, after] = await keepRecordings();
  await ask("GET", `${url}/api/console/runs/${after}`);
  await ask("GET", `${url}/api/console/runs/${after}/comparison?against=${before}`);
  await ask("GET", `${url}/api/runs/${after}/probe`);
  await ask("GET", `${url}/api/runs/${after}/probes`);
  await ask("PUT", `${url}/api/baselines/spring`, { runId: before });
  await ask("GET", `${url}/api/baselines/spring`);
  await ask("GET", `${url}/api/baselines`);
  await ask("DELETE", `${url}/api/baselines/spring`);
  await ask("PATCH", `${url}/api/runs/${before}`, { note: "before the change", addTags: ["spring"] });
  expect(await ask("GET", `${url}/api/runs?tag=spring&most=5`)).toMatchObject([{ runId: before, tags: ["spring"] }]);
  const copy = await (await fetch(`${url}/api/backup`)).arrayBuffer();
  // The first 16 bytes of every SQLite database (SQLite's file format, section 1.3).
  expect(new TextDecoder().decode(copy.slice(0, 16))).toBe("SQLite format 3\0");
  const evidence = await (await fetch(`${url}/api/console/runs/${after}/files/evidence.zip`)).arrayBuffer();
  // A local file header's signature (APPNOTE 6.3.10, section 4.3.7).
  expect(new DataView(evidence).getUint32(0, true)).toBe(0x04034b50);
  const later = { ...files, startAt: new Date(Date.now() + 3600e3).toISOString() };
  const { runId } = await ask<{ runId: string }>("POST", `${url}/api/runs`, later);
  await ask("GET", `${url}/api/runs`);
  await ask("POST", `${url}/api/runs/${runId}/abort`);
  await ask("GET", `${url}/api/console/runs/${runId}`);
  await ask("DELETE", `${url}/api/runs/${runId}`);
  await Promise.all(["tower", "kiosk"].map(async (name) => (await Stranger.at(url)).say(helloOf(name, "key"))));
  await until("both agents are back", () => open.registry.list().length === 2);
  await ask("POST", `${url}/api/runs/need`, files);
  await ask("POST", `${url}/api/stop`);

  const doors = guarded.url;
  await ask("GET", `${doors}/api/session`);
  const said = { name: "anna", password: "correct horse 1" };
  const { token } = await ask<{ token: string }>("POST", `${doors}/api/sign-in`, said);
  const anna = { authorization: `Bearer ${token}` };
  await ask("GET", `${doors}/api/session`, undefined, anna);
  const { key } = await ask<{ key: string }>("POST", `${doors}/api/enrolled`, { name: "kiosk" }, anna);
  await ask("POST", `${doors}/agent/enrol`, { key, name: "kiosk" });
  await ask("GET", `${doors}/api/enrolled`, undefined, anna);
  await ask("POST", `${doors}/api/enrolled/rotate`, {}, anna);
  await ask("DELETE", `${doors}/api/enrolled/kiosk`, undefined, anna);
  const order = { name: "prometheus", scope: "view", lastsS: 3600 };
  const made = await ask<{ token: string }>("POST", `${doors}/api/tokens`, order, anna);
  await ask("GET", `${doors}/api/tokens`, undefined, { authorization: `Bearer ${made.token}` }); // with a last use
  await ask("DELETE", `${doors}/api/tokens/prometheus`, undefined, anna);
  await ask("POST", `${doors}/api/operators`, { name: "ben", role: "view", password: "correct horse 2" }, anna);
  expect(await ask<{ name: string }[]>("GET", `${doors}/api/operators`, undefined, anna)).toHaveLength(2);
  await ask("DELETE", `${doors}/api/operators/ben`, undefined, anna);
  await expect(ask("DELETE", `${doors}/api/operators/anna`, undefined, anna)).rejects.toThrow("his own access");
  await ask("GET", `${doors}/api/audit`, undefined, anna);
  const check = await ask<{ breaks: unknown }>("GET", `${doors}/api/audit/check`, undefined, anna);
  expect(check).toMatchObject({ firstNumber: 1, breaks: [] });
  await ask("POST", `${doors}/api/sign-out`, {}, anna);

  const declared = answers.filter(({ schema }) => schema !== undefined);
  for (const { route, schema, body } of declared) {
    expect({ route, mistakes: mistakes(schema as TSchema, body) }).toEqual({ route, mistakes: [] });
  }
  for (const [name, { method, path: form, answer }] of Object.entries(API_ROUTES)) {
    const told = declared.find(({ route }) => route === `${method} ${form}`);
    if (!form.startsWith("/api/practice")) expect({ name, schema: told?.schema }).toEqual({ name, schema: answer });
  }
  const seen = new Set([...declared.map(({ route }) => route), ...LINES, ...NOT_ASKED]);
  expect([...routes].filter((route) => !seen.has(route))).toEqual([]);
});

test("console events: given a run with two agents, then every kind is told, and each as it is declared", () => {
  for (const event of events)
    expect({ event, mistakes: mistakes(ConsoleEventSchema, event) }).toEqual({ event, mistakes: [] });
  const kinds = ConsoleEventSchema.anyOf.map(({ properties }) => properties.kind.const);
  expect(new Set((events as ConsoleEvent[]).map(({ kind }) => kind))).toEqual(new Set(kinds));
});

test("a run's progress: given a run from start to end, then every line is as it is declared", () => {
  for (const line of progress)
    expect({ line, mistakes: mistakes(RunProgressSchema, line) }).toEqual({ line, mistakes: [] });
  const kinds = (progress as RunProgress[]).map(({ kind }) => kind);
  expect(kinds.at(0)).toBe("outline");
  expect(kinds.at(-1)).toBe("done");
  expect(kinds).toEqual(expect.arrayContaining(["step", "go", "second"]));
});

test("the drawing of a plan: given a device that does not answer, and then one that does, then every line is as it is declared", () => {
  for (const line of drawing)
    expect({ line, mistakes: mistakes(DrawEventSchema, line) }).toEqual({ line, mistakes: [] });
  expect((drawing as DrawEvent[]).map(({ kind }) => kind)).toEqual([
    ...["reading", "unread", "reading", "failed"],
    ...["reading", "reading", "drawn"],
  ]);
  expect(drawing.at(-1)).toMatchObject({ nodes: 2, seen: 1, text: expect.stringContaining("pier-east") });
});
