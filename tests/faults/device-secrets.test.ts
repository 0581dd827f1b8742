import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { Writable } from "node:stream";
import { gunzipSync, inflateRawSync } from "node:zlib";
import type { RunReport } from "@dyetrace/wire";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { PRACTICE_SAFETY } from "../../controller/src/plan/safety.ts";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";
import { answerFrom, type PlayedDevice, playDevice } from "../simulation/devices/played-device.ts";
import { switchObjects } from "../simulation/devices/played-switch.ts";
import { playFalseAgent } from "./false-agent.ts";

/** A run with two devices to read, of which one lies about nothing and one is not there; then everything is searched for secrets. */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  hall: { kind: switch }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- hall:24", "hall:1 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 0s, emit: board }
  - { at: 2s, stop: board }
`;
const SECRETS = ["kept-community", "kept-for-signing", "kept-for-encryption"] as const;

let folder = "";
let store: Store;
let controller: Controller;
let device: PlayedDevice;
let logged = "";
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-secrets-"));
  // Each reading counts more than the one before.
  let answers = 0;
  const upSinceMs = Date.now() - 3_600_000;
  const objects = () => switchObjects([1000 + answers++, 7, 0], Math.round((Date.now() - upSinceMs) / 10));
  device = await playDevice((question, reply) => reply(answerFrom(objects())(question)));
  const sink = new Writable({
    write: (chunk: Buffer, _encoding, done) => {
      logged += chunk.toString("utf8");
      done();
    },
  });
  const log = pino({ level: "trace" }, sink);
  store = await openStore({ kind: "folder", folder });
  controller = await startController({
    ...{ host: "127.0.0.1", port: 0, agentKey: "key", store, dataFolder: folder, safety: PRACTICE_SAFETY, log },
  });
}, 60_000);
afterAll(async () => {
  await controller?.close();
  await store?.close();
  await device?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true, force: true });
});

async function ask(method: string, url: string, body?: object): Promise<string> {
  const response = await fetch(`${controller.url}${url}`, {
    method,
    ...(body === undefined ? {} : { headers: { "content-type": "application/json" }, body: JSON.stringify(body) }),
  });
  return `${response.status} ${await response.text()}`;
}

const json = <T>(answer: string): T => JSON.parse(answer.slice(answer.indexOf(" ") + 1)) as T;

const V3 = {
  version: "3",
  user: "reader",
  auth: "sha256",
  authPassword: "kept-for-signing",
  privacy: "aes",
  privacyPassword: "kept-for-encryption",
};

async function playRun(): Promise<string> {
  const { url } = controller;
  const agents = await Promise.all(
    ["tower", "kiosk"].map((name) => playFalseAgent({ url, key: "key", name }, (report) => report)),
  );
  const files = { site: { file: "plan.yaml", text: PLAN }, scenario: { file: "reach.yaml", text: SCENARIO } };
  const { runId } = json<{ runId: string }>(await ask("POST", "/api/runs", files));
  await Promise.all(agents.map(({ over }) => over));
  await ask("GET", `/api/runs/${runId}/progress`); // ends with the run
  for (const { hello } of agents) hello.socket.close();
  return runId;
}

/** A file's bytes as they are, and what of them was packed. */
function textsOf(file: string): string[] {
  const bytes = readFileSync(file);
  const texts = [bytes.toString("latin1")];
  for (const unpack of [gunzipSync, inflateRawSync]) {
    try {
      texts.push(unpack(bytes).toString("latin1"));
    } catch {}
  }
  return texts;
}

test("given a run with devices to read, then it tells what they counted, and their secrets stand in no file but their own", async () => {
  const access = { version: "2c", community: "kept-community" };
  const said = [
    await ask("POST", "/api/devices", { node: "core", address: "127.0.0.1", port: device.port, access }),
    await ask("POST", "/api/devices", { node: "hall", address: "127.0.0.1", port: 9, access: V3 }),
    await ask("GET", "/api/devices"),
    await ask("POST", "/api/devices/core/reading"),
    await ask("POST", "/api/devices/hall/reading"),
    // Refusals, which name what was wrong.
    await ask("POST", "/api/devices", { node: "x", address: "192.0.2.9", port: 161, access: { ...V3, auth: "md5" } }),
    await ask("POST", "/api/devices", { node: "x", address: "233.252.0.1", port: 161, access: V3 }),
    await ask("POST", "/api/devices", { node: "x", address: "192.0.2.9", port: "kept-community", access }),
  ];
  expect(said.map((answer) => answer.slice(0, 3))).toEqual(["200", "200", "200", "200", "200", "400", "400", "400"]);
  const runId = await playRun();
  const record = await ask("GET", `/api/runs/${runId}`);
  const { devices = [] } = json<{ report: RunReport }>(record).report;
  expect(devices).toMatchObject([
    {
      node: "core",
      groups: [{ vlan: 10, group: "239.195.10.4", ports: ["1", "3"] }],
      querier: "192.0.2.1",
      unread: [],
    },
    { node: "hall", readAt: [], ports: [], groups: null, unread: [expect.stringMatching(/^hall could not be read: /)] },
  ]);
  const [core] = devices;
  expect(core?.readAt.length).toBeGreaterThanOrEqual(3);
  expect(core?.ports.find(({ port }) => port === "1")?.inMulticast).toBeGreaterThan(0);
  said.push(record, await ask("GET", "/api/audit"), await ask("GET", `/api/runs/${runId}/story`));
  for (const kind of ["report.html", "report.json", "receipts.csv"]) {
    said.push(await ask("GET", `/api/console/runs/${runId}/files/${kind}`));
  }
  const backup = path.join(folder, "copy.sqlite");
  await store.backUp(backup);
  const audit = await ask("GET", "/api/audit");
  expect(audit).toContain("read device core at 127.0.0.1");
  expect(audit).toContain(`run ${runId}`);

  const files = readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => path.join(entry.parentPath, entry.name));
  const holders = files.filter((file) => textsOf(file).some((text) => SECRETS.some((secret) => text.includes(secret))));
  expect(holders).toEqual([path.join(folder, "devices.json")]);
  expect(statSync(path.join(folder, "devices.json")).mode & 0o777).toBe(0o600);
  // What Fastify quotes of a request's mistake is the path and what was expected.
  for (const secret of SECRETS) {
    expect(logged).not.toContain(secret);
    for (const answer of said) expect(answer).not.toContain(secret);
  }
}, 120_000);
