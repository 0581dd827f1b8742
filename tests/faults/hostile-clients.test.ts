import { spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { once } from "node:events";
import { text } from "node:stream/consumers";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { CONTROL_MAX_BYTES, CONTROL_OLDEST_PROTOCOL, CONTROL_PROTOCOL } from "@dyetrace/wire";
import type { LiveSeries } from "@dyetrace/wire/console/live-second";
import { afterAll, beforeAll, expect, test } from "vitest";
import { CONNECTION_LIMITS } from "../../controller/src/agents/connection-limits.ts";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";
import { helloOf, rawUpgrade, Stranger } from "./stranger.ts";

/** Everything that can come to the controller's door, while a run goes on behind it: the run must not notice. */
const LISTENERS = Array.from({ length: 9 }, (_, index) => `kiosk-${index + 1}`);
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
${LISTENERS.map((name) => `  ${name}: { kind: host }`).join("\n")}
links:
  - "core:1 -- tower:eth0"
${LISTENERS.map((name, index) => `  - "core:${index + 2} -- ${name}:eth0"`).join("\n")}
`;
/** The visits take less; then the run ends by itself, so that its source is silent before its listeners go. */
const RUN_S = 60;
const SCENARIO = `scenario: reach
hold: 10s
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [${LISTENERS.join(", ")}] }
  - { at: 1s, emit: board }
  - { at: ${RUN_S}s, stop: board }
`;
const CLIENTS = fileURLToPath(new URL("./siege-clients.mjs", import.meta.url));
/** After the last of them is connected: what no connection that says nothing outlasts, and then some. */
const SIEGE_S = 12;
const SIEGE = { silent: 4000, slow: 200, keepAlive: 200, strangers: 200, consoles: 300, bodies: 100, followers: 100 };
const MOST_MEMORY_BYTES = 400e6;

let site: LastingSite;
let runId = "";
let runEndMs = 0;
beforeAll(async () => {
  site = await raiseLastingSite(PLAN);
  runId = await site.startRun(SCENARIO);
  ({ endMs: runEndMs } = await site.begun(runId));
});
afterAll(() => site?.[Symbol.asyncDispose]());

/** Connections of consoles, agents and this test itself, more or less. */
const FEW = 20;

const say = (what: string, figures: unknown): void =>
  void process.stderr.write(`${what}: ${typeof figures === "string" ? figures : JSON.stringify(figures)}\n`);

const names = async (): Promise<string[]> =>
  ((await (await fetch(new URL("/api/agents", site.url))).json()) as { name: string }[]).map(({ name }) => name);

test("controller: given 5,100 hostile connections of seven kinds and a dozen saved plans of a megabyte, then it stays below 400 MB, keeps its agents, answers newcomers, and has its files back", async () => {
  const handles = site.controllerHandles();
  const { port } = new URL(site.url);
  const argv = [process.execPath, CLIENTS, port, String(SIEGE_S), JSON.stringify(SIEGE)];
  const clients = spawn("sh", ["-c", 'ulimit -n 12000; exec "$@"', "sh", ...argv], {
    stdio: ["ignore", "pipe", "inherit"],
  });
  let isOver = false;
  const ended = text(clients.stdout).finally(() => {
    isOver = true;
  });
  let [peakHandles, slowestMs, saved] = [0, 0, 0];
  const saving = (async () => {
    for (; saved < 12; saved++) {
      const plan = { file: "plan.yaml", text: `${PLAN}# ${saved} ${"x".repeat(990_000)}\n` };
      const headers = { "content-type": "application/json" };
      const url = new URL("/api/console/plan", site.url);
      expect((await fetch(url, { method: "PUT", headers, body: JSON.stringify(plan) })).status).toBe(200);
    }
  })();
  while (!isOver) {
    peakHandles = Math.max(peakHandles, site.controllerHandles());
    const asked = performance.now();
    expect(await names()).toEqual(expect.arrayContaining(["tower", ...LISTENERS]));
    slowestMs = Math.max(slowestMs, performance.now() - asked);
    await sleep(200);
  }
  const told = JSON.parse(await ended) as Record<string, { readonly opened: number }>;
  await saving;
  expect(saved).toBe(12);
  const { now, most } = site.controllerMemory();
  say("siege", {
    ...told,
    peakHandles: peakHandles - handles,
    slowestAnswerMs: Math.round(slowestMs),
    peakMemoryMb: Math.round(most / 1e6),
    memoryAfterMb: Math.round(now / 1e6),
  });
  for (const [kind, count] of Object.entries(SIEGE)) expect([kind, told[kind]?.opened]).toEqual([kind, count]);
  expect(performance.now()).toBeLessThan(runEndMs);
  expect(peakHandles - handles).toBeGreaterThan(1000); // they did get in
  expect(peakHandles - handles).toBeLessThanOrEqual(CONNECTION_LIMITS.mostStrangers + FEW);
  expect(most).toBeGreaterThan(0);
  expect(most).toBeLessThan(MOST_MEMORY_BYTES);
  await expect.poll(() => site.controllerHandles() - handles, { timeout: 20_000 }).toBeLessThan(FEW);
});

test.each([
  ["no JSON", "once upon a time"],
  ["JSON of another kind", "[1,2,3]"],
  ["a hello without a key", JSON.stringify({ ...helloOf("kiosk-9", ""), key: undefined })],
  ["a wrong key", JSON.stringify(helloOf("kiosk-9", "0123456789abcdef0123456789abcdee"))],
  ["a report before any hello", JSON.stringify({ kind: "report" })],
  ["a name that is a path", JSON.stringify(helloOf("../../etc", ""))],
  ["a number past every limit", '{"kind":"hello","protocol":1e400,"name":"x","version":"1"}'],
  ["a nesting of 100,000", `${"[".repeat(100_000)}`.slice(0, 60_000)],
])("agents' door: given %s, then it is told off in a sentence and cut", async (_what, words) => {
  const stranger = await Stranger.at(site.url);
  stranger.say(words);
  const { message } = await stranger.hears("turned-away");
  expect(String(message)).toMatch(/^[A-Z].{10,}/);
  expect((await stranger.closed).code).toBe(1008);
});

test("agents' door: given messages past the limits of size, then whoever sends them is cut", async () => {
  const big = await Stranger.at(site.url);
  big.say("x".repeat(CONTROL_MAX_BYTES + 1));
  // Too big (RFC 6455 section 7.4.1), or already more than a stranger may send.
  expect([1009, 1006]).toContain((await big.closed).code);
  const halfway = await rawUpgrade(site.url);
  // A frame of 4 MB is announced and begun, by somebody who has not said hello (RFC 6455 section 5.2).
  const head = Buffer.from([0x81, 0xff, 0, 0, 0, 0, 0, 0x3f, 0xff, 0xff, 1, 2, 3, 4]);
  halfway.write(Buffer.concat([head, Buffer.alloc(100_000)]));
  const from = performance.now();
  await once(halfway, "close", { signal: AbortSignal.timeout(10_000) });
  say("100 kB without a hello, cut after", `${Math.round(performance.now() - from)} ms`);
  const known = await Stranger.at(site.url);
  known.say(helloOf("big", site.key));
  await known.hears("welcome");
  known.say("x".repeat(CONTROL_MAX_BYTES + 1));
  expect((await known.closed).code).toBe(1009);
});

test("agents' door: given random bytes, as a WebSocket and as none, then they are cut", async () => {
  for (let i = 0; i < 20; i++) {
    const socket = await rawUpgrade(site.url);
    socket.write(randomBytes(500));
    await once(socket, "close", { signal: AbortSignal.timeout(20_000) });
  }
  const { port } = new URL(site.url);
  const { connect } = await import("node:net");
  for (let i = 0; i < 20; i++) {
    const socket = connect(Number(port), "127.0.0.1");
    socket.on("error", () => undefined);
    socket.resume();
    socket.write(randomBytes(500));
    await once(socket, "close", { signal: AbortSignal.timeout(20_000) });
  }
});

test("agents' door: given one who says nothing, or a frame a byte at a time, then they are cut within 12 s", async () => {
  const silent = await Stranger.at(site.url);
  const slow = await rawUpgrade(site.url);
  slow.write(Buffer.from([0x81, 0xfe, 0x10, 0x00, 1, 2, 3, 4]));
  const trickle = setInterval(() => slow.write("x"), 500);
  const known = await Stranger.at(site.url);
  known.say(helloOf("sleeper", site.key));
  const from = performance.now();
  const [, { afterMs }, quiet] = await Promise.all([
    once(slow, "close", { signal: AbortSignal.timeout(30_000) }).then(() => {
      say("a frame a byte at a time, cut after", `${Math.round(performance.now() - from)} ms`);
      expect(performance.now() - from).toBeLessThan(12_000);
    }),
    silent.closed,
    known.closed,
  ]);
  clearInterval(trickle);
  say("no hello, cut after", `${Math.round(afterMs)} ms`);
  say("an agent that falls silent, cut after", `${Math.round(quiet.afterMs)} ms`);
  expect(afterMs).toBeLessThan(8000);
  expect(quiet.afterMs).toBeLessThan(14_000);
});

test("agents' door: given an agent that floods, then it is read at its share, and the controller answers others meanwhile", async () => {
  const flood = await Stranger.at(site.url);
  flood.say(helloOf("flood", site.key));
  await flood.hears("welcome");
  const SECONDS = 4;
  const until = performance.now() + SECONDS * 1000;
  let sent = 0;
  let slowestMs = 0;
  while (performance.now() < until) {
    for (let i = 0; i < 2000 && flood.socket.bufferedAmount < 4e6; i++) flood.say({ kind: "clock-ask", id: sent++ });
    const asked = performance.now();
    await (await fetch(new URL("/api/status", site.url))).text();
    slowestMs = Math.max(slowestMs, performance.now() - asked);
    await sleep(20);
  }
  const answered = flood.heard.filter(({ kind }) => kind === "clock-answer").length;
  const elapsedS = SECONDS + 1;
  flood.socket.terminate();
  say("a flooding agent", { sent, answered, slowestAnswerToOthersMs: Math.round(slowestMs) });
  expect(sent).toBeGreaterThan(5000);
  // A rush of 1000 and 200 a second: agents/message-budget.ts. One reading of the socket may hold a few hundred more.
  expect(answered).toBeLessThan(1000 + 200 * elapsedS + 2500);
  expect(slowestMs).toBeLessThan(3000);
});

test("agents' door: given other versions of the protocol, then they work where both know one, and else a sentence says who is too old", async () => {
  const greet = async (changes: object): Promise<Stranger> => {
    const stranger = await Stranger.at(site.url);
    stranger.say(helloOf("visitor", site.key, changes));
    return stranger;
  };
  for (const [changes, agreed] of [
    [{ protocol: CONTROL_OLDEST_PROTOCOL, oldestProtocol: undefined }, CONTROL_OLDEST_PROTOCOL],
    [{ protocol: CONTROL_PROTOCOL + 5, oldestProtocol: CONTROL_PROTOCOL, version: "9.9.9" }, CONTROL_PROTOCOL],
  ] as const) {
    const visitor = await greet(changes);
    expect(await visitor.hears("welcome")).toMatchObject({ protocol: agreed });
    visitor.say({ kind: "something new", of: "a newer agent" });
    visitor.say({ kind: "clock-ask", id: 7 });
    if (agreed === CONTROL_PROTOCOL) expect(await visitor.hears("clock-answer")).toMatchObject({ id: 7 });
    visitor.socket.terminate();
    await expect.poll(() => names(), { timeout: 10_000 }).not.toContain("visitor");
  }
  for (const [changes, who] of [
    [{ protocol: CONTROL_OLDEST_PROTOCOL - 1, oldestProtocol: undefined, version: "0.0.1", capabilities: {} }, "agent"],
    [{ protocol: 99, oldestProtocol: 99, version: "9.9.9", capabilities: {} }, "controller"],
  ] as const) {
    const visitor = await greet(changes);
    const { code, message, hint } = await visitor.hears("turned-away");
    say("another version", `${String(message)}. ${String(hint)}`);
    expect(code).toBe("PROTOCOL_MISMATCH");
    expect(message).toMatch(new RegExp(`: the ${who} is too old$`));
    await visitor.closed;
  }
});

test("the run: given all of the above at the door, then the controller has not ended, and of ten agents none was lost, no packet and no second", async () => {
  const report = await site.report(runId, RUN_S * 1000 + 60_000);
  say("the run behind it", {
    receipts: report.receipts.map(({ sent, received, lost, hostLost }) => [sent, received, lost, hostLost]),
    notes: report.notes,
  });
  expect(report.receipts.map(({ listener }) => listener).toSorted()).toEqual(LISTENERS);
  for (const receipt of report.receipts) {
    expect(receipt.sent).toBeGreaterThan(1000);
    expect((receipt.received ?? 0) + (receipt.hostLost ?? 0)).toBe(receipt.sent);
    expect(receipt.lost).toBe(0);
    const url = new URL(`/api/console/live/${runId}/${receipt.listener}/1`, site.url);
    const { from, figures } = (await (await fetch(url)).json()) as LiveSeries;
    const untold = figures.flatMap((one, index) => (one === null && index + from < RUN_S ? index + from : []));
    expect([receipt.listener, from, untold]).toEqual([receipt.listener, 0, []]);
  }
  expect(report.findings).toEqual([]);
  expect(report.notes.join(" ")).not.toMatch(/was lost/);
}, 240_000);
