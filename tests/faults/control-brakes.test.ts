import { setTimeout as sleep } from "node:timers/promises";
import { afterAll, afterEach, beforeAll, expect, test } from "vitest";
import { countFrames } from "../field/group-traffic.ts";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";

/** A source whose controller hangs, dies, is cut off, or says stop; and one whose time is up. Seen by the kernel's counter at a listener. */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const GROUP = "239.195.10.4";
const scenario = (hold: string, seconds: number): string => `scenario: brakes
hold: ${hold}
streams: [ { name: board, source: tower, group: ${GROUP}, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: ${seconds}s, stop: board }
`;
const HOLD_MS = 2000;
const WITHIN_MS = 1000;

let site: LastingSite;
let count: () => Promise<number>;
beforeAll(async () => {
  site = await raiseLastingSite(PLAN);
  count = await countFrames(site.site, "kiosk", `ip daddr ${GROUP} udp dport 48620`);
});
afterAll(() => site?.[Symbol.asyncDispose]());
let running = "";
afterEach(() => site.endRun(running));

/** Starts a run and waits until its source has sent for a while. */
async function flowing(text: string, forMs: number): Promise<{ startMs: number; endMs: number }> {
  await site.allConnected();
  const before = await count();
  running = await site.startRun(text);
  const times = await site.begun(running);
  await expect.poll(count, { timeout: 30_000 }).toBeGreaterThan(before);
  await sleep(Math.max(0, times.startMs + 1000 + forMs - performance.now()));
  return times;
}

/**
 * Looks at the counter until nothing has come for two seconds. @returns an instant after which the last frame came for
 * certain, so that a look that is late itself accuses nobody
 */
async function lastFrameAfterMs(withinMs: number): Promise<number> {
  const deadline = performance.now() + withinMs;
  let last = -1;
  let provenMs = performance.now();
  let quietSinceMs = performance.now();
  let lookedMs = performance.now();
  while (performance.now() - quietSinceMs < 2000) {
    if (performance.now() > deadline) throw new Error("The source goes on and on");
    const now = await count();
    if (now !== last) {
      provenMs = lookedMs; // it was less at that look, so a frame came after it
      quietSinceMs = performance.now();
    }
    last = now;
    lookedMs = performance.now();
    await sleep(50);
  }
  return provenMs;
}

const say = (what: string, ms: number): void => void process.stderr.write(`${what}: ${Math.round(ms)} ms\n`);

test("given a controller that hangs (SIGSTOP), then its source stops within the hold time and a second, and the run goes on when it wakes", async () => {
  await flowing(scenario("2s", 120), 3000);
  const fromMs = performance.now();
  site.signalController("SIGSTOP");
  const afterMs = (await lastFrameAfterMs(30_000)) - fromMs;
  site.signalController("SIGCONT");
  say("last frame after the controller hung, with a hold time of 2000 ms", afterMs);
  expect(afterMs).toBeGreaterThan(HOLD_MS - 1500); // it did hold on: the last word may be a beat old
  expect(afterMs).toBeLessThan(HOLD_MS + WITHIN_MS);
  const before = await count();
  await expect.poll(count, { timeout: 30_000 }).toBeGreaterThan(before);
});

test("given a controller that is killed (SIGKILL), then its source stops within the hold time and a second", async () => {
  await flowing(scenario("2s", 120), 2000);
  const fromMs = performance.now();
  await site.killController();
  const afterMs = (await lastFrameAfterMs(30_000)) - fromMs;
  await site.startController();
  say("last frame after the controller was killed, with a hold time of 2000 ms", afterMs);
  expect(afterMs).toBeLessThan(HOLD_MS + WITHIN_MS);
});

test("given a source that nftables cuts off from its controller, then it stops within the hold time and a second", async () => {
  await flowing(scenario("2s", 120), 2000);
  const { management } = site.site.addressOf("tower");
  const rules = `table inet cut { chain i { type filter hook input priority -300; ip daddr ${management} drop; }; chain o { type filter hook output priority -300; ip saddr ${management} drop; }; }`;
  const cut = await site.site.exec("tower", ["nft", "-f", "-"], { stdin: rules });
  const fromMs = performance.now();
  expect([cut.code, cut.stderr]).toEqual([0, ""]);
  const afterMs = (await lastFrameAfterMs(30_000)) - fromMs;
  await site.site.exec("tower", ["nft", "delete", "table", "inet", "cut"]);
  say("last frame after the source was cut off, with a hold time of 2000 ms", afterMs);
  expect(afterMs).toBeLessThan(HOLD_MS + WITHIN_MS);
});

test("given a hold time of an hour and a controller that hangs, then the source ends at its time all the same", async () => {
  const { endMs } = await flowing(scenario("1h", 12), 5000);
  site.signalController("SIGSTOP");
  const lastMs = await lastFrameAfterMs(60_000);
  site.signalController("SIGCONT");
  say("last frame after the end of the run", lastMs - endMs);
  expect(lastMs - endMs).toBeLessThan(WITHIN_MS);
  expect(lastMs - endMs).toBeGreaterThan(-3000); // it was not the hold time that ended it
});

test("given a hold time of an hour and an operator who says stop, then the source stops within a second", async () => {
  await flowing(scenario("1h", 120), 1000);
  const fromMs = performance.now();
  await site.abortRun(running);
  const afterMs = (await lastFrameAfterMs(30_000)) - fromMs;
  say("last frame after the stop", afterMs);
  expect(afterMs).toBeLessThan(WITHIN_MS);
});
