import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { WebSocket } from "ws";
import { AccessBook } from "../../controller/src/access/access-book.ts";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { openStore, type Store } from "../../controller/src/store/store.ts";
import { type PostgresServer, startPostgres } from "./postgres-server.ts";
import { operatorRecord } from "./support/operators-controller.ts";

/** Two controllers on one database: whoever may do something at the one may do it at the other, and no longer than there. */
let postgres: PostgresServer;
let folder = "";
const stores: Store[] = [];
const controllers: Controller[] = [];
const PASSWORD = "correct horse 1";

beforeAll(async () => {
  postgres = await startPostgres();
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-estate-"));
  const url = postgres.database("estate");
  // What a first controller had in its file is taken over.
  const operators = [await operatorRecord("anna", "operate", PASSWORD)];
  new AccessBook(path.join(folder, "one")).change(() => ({ operators }));
  for (const name of ["one", "two"]) {
    const store = await openStore({ kind: "postgres", url });
    stores.push(store);
    const data = { isSignInNeeded: true, dataFolder: path.join(folder, name) };
    const log = pino({ level: "silent" });
    const address = `https://${name}.example:8472`;
    controllers.push(await startController({ host: "127.0.0.1", port: 0, store, log, address, ...data }));
  }
});
afterAll(async () => {
  for (const controller of controllers) await controller.close();
  for (const store of stores) await store.close();
  await postgres?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true, force: true });
});

const ask = async (at: number, method: string, route: string, token: string | null, body?: object) => {
  const response = await fetch(new URL(route, controllers[at]?.url), {
    method,
    headers: {
      ...(token === null ? {} : { authorization: `Bearer ${token}` }),
      ...(body === undefined ? {} : { "content-type": "application/json" }),
    },
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
  });
  return { status: response.status, body: (await response.json()) as Record<string, unknown> };
};
const signIn = async (at: number): Promise<string> => {
  const { status, body } = await ask(at, "POST", "/api/sign-in", null, { name: "anna", password: PASSWORD });
  expect(status).toBe(200);
  return String(body["token"]);
};

test("an operator: given that he signs in at one controller, then the other knows him at once, and when he signs out there, he is out here", async () => {
  const token = await signIn(0);
  expect((await ask(1, "GET", "/api/agents", token)).status).toBe(200);
  expect((await ask(1, "GET", "/api/agents", "another")).status).toBe(401);
  expect((await ask(1, "POST", "/api/sign-out", token)).status).toBe(200);
  await expect.poll(async () => (await ask(0, "GET", "/api/agents", token)).status, { timeout: 15_000 }).toBe(401);
});

test("a key to enrol with: given that both controllers are shown it at the same time, then it opens once, and the credential opens at both until it is revoked at one", async () => {
  const token = await signIn(1);
  const { body } = await ask(1, "POST", "/api/enrolled", token, {});
  const key = String(body["key"]);
  await expect.poll(() => ask(0, "GET", "/api/enrolled", token).then(({ status }) => status)).toBe(200);
  await new Promise((resolve) => setTimeout(resolve, 1500)); // both copies have it
  const tries = await Promise.all([0, 1].map((at) => ask(at, "POST", "/agent/enrol", null, { key, name: "kiosk" })));
  expect(tries.map(({ status }) => status).toSorted((a, b) => a - b)[0]).toBe(200);
  expect(tries.filter(({ status }) => status === 200)).toHaveLength(1);
  const enrolled = tries.find(({ status }) => status === 200)?.body;
  const credential = String(enrolled?.["credential"]);
  const addresses = ["https://two.example:8472", "https://one.example:8472"];
  expect(enrolled?.["others"]).toEqual(addresses.map((controller) => ({ controller, pin: null })));
  const greeted = (at: number, shown: string): Promise<string> =>
    new Promise((resolve, reject) => {
      const socket = new WebSocket(`${controllers[at]?.url.replace("http", "ws")}/agent-link`);
      socket.on("error", reject);
      socket.on("open", () => {
        const head = { kind: "hello", protocol: 8, version: "test", name: "kiosk", instance: "00000000000000aa" };
        socket.send(JSON.stringify({ ...head, key: shown, runId: null, capabilities: CAPABILITIES }));
      });
      socket.on("message", (data) => {
        const { kind, code } = JSON.parse(String(data)) as { kind: string; code?: string };
        socket.terminate();
        resolve(code ?? kind);
      });
    });
  await expect.poll(() => greeted(0, credential)).toBe("welcome");
  await expect.poll(() => greeted(1, credential)).toBe("welcome");
  expect((await ask(0, "DELETE", "/api/enrolled/kiosk", token)).status).toBe(200);
  await expect.poll(() => greeted(1, credential), { timeout: 3000 }).toBe("NOT_AUTHORISED");
});

test("health: given a database that answers, then each controller says that it serves, to anybody; given none, then not", async () => {
  for (const at of [0, 1]) {
    const { status, body } = await ask(at, "GET", "/health", null);
    expect([status, body]).toEqual([200, { serves: true, store: "reachable", takesReports: true }]);
  }
});

const CAPABILITIES = {
  sockets: "portable",
  ...{ platform: "linux", osRelease: "", architecture: "", nodeVersion: "" },
  ...{ kernelTimestamps: true, hostLossCount: true, ttlSeen: true, dscpSeen: true, destinationSeen: true },
  ...{ ssm: true, ipv6: true, watcher: true, receiveBufferBytes: null },
  interface: {
    ...{ name: "eth0", index: 1, ipv4: "192.0.2.1", ipv6: [], mac: null, mtuBytes: 1500 },
    ...{ speedBps: null, isUp: true, isWireless: false },
  },
  guards: {
    ...{ allowSending: false, maxRateBps: 1e6, maxPacketsPerSecond: 100, allowedGroups: [], refusedGroups: [] },
    ...{ allowedReservedGroups: [], refuseReservedAliases: true, allowedPorts: [], companionPorts: [] },
    ...{ companionHosts: [], maxCompanions: 0, allowedJoins: [], maxJoins: 1, maxTtl: 1, maxDscp: 0 },
    ...{ maxDurationNs: 1e9, maxHoldNs: 1e9, maxStreams: 1 },
  },
};
