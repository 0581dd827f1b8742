import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { openStore } from "../../controller/src/store/store.ts";
import { countFrames } from "../field/group-traffic.ts";
import { drawInteger, drawOne, type Random, seededRandom } from "../simulation/seeded-random.ts";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";
import { copyData } from "./small-disk.ts";
import { ACCUSING_THE_WAY, SOAK_PLAN } from "./soak-site.ts";
import { type StintNumbers, storedNumbers } from "./stored-numbers.ts";

/**
 * A soak in which controller and agents are killed at random instants, the controller's disk fills up once, and its store is put
 * back from an older copy once. In full, by hand (six minutes):
 * `DYETRACE_CHAOS=60 DYETRACE_SEED=7 npm run field -- tests/faults/chaos.test.ts`
 */
const KILLS = Number(process.env["DYETRACE_CHAOS"] ?? "12");
const SEED = Number(process.env["DYETRACE_SEED"] ?? 0x5eed);
/** Between two kills on an idle machine; a busy one takes as long as it needs to start what was killed. */
const EVERY_MS = 3000;
/** The last ones come back before the run ends. */
const END_S = 15;
const HOLD_MS = 5000;
/** An interval, the report of it, and what a busy machine adds. */
const UNTOLD_NS = 4e9;

const KILLED = ["tower", "office", "kiosk-1", "kiosk-2"];
/** Never killed: whatever it says is held against the kernel's own count. */
const WITNESS = "lounge";
const LISTENERS = ["kiosk-1", "kiosk-2", WITNESS];
const STREAMS = [
  { name: "board", source: "tower", group: "239.195.10.4", rate: "2 Mbit/s", packetsPerS: 190 },
  { name: "music", source: "office", group: "239.195.10.5", rate: "1 Mbit/s", packetsPerS: 95 },
];
const scenario = (seconds: number, hold: string): string => `scenario: soak
hold: ${hold}
streams:
${STREAMS.map(({ name, source, group, rate }) => `  - { name: ${name}, source: ${source}, group: ${group}, rate: ${rate} }`).join("\n")}
timeline:
  - { at: 0s, join: [board, music], agents: [${LISTENERS.join(", ")}] }
  - { at: 1s, emit: [board, music] }
  - { at: ${seconds - 2}s, stop: [board, music] }
`;

interface Killed {
  readonly who: string;
  /** Since the start of the run. */
  readonly atNs: number;
}

/** Everything that is killed comes up again by itself, at its own random time. */
class Chaos {
  readonly kills: Killed[] = [];
  readonly done: string[] = [];
  readonly #away = new Set<string>();
  readonly #coming: Promise<void>[] = [];

  readonly #site: LastingSite;
  readonly #random: Random;
  readonly #startMs: number;

  constructor(site: LastingSite, random: Random, startMs: number) {
    this.#site = site;
    this.#random = random;
    this.#startMs = startMs;
  }

  /** @param meanwhile is done while a controller is away */
  async kill(who: string, meanwhile: () => void = () => undefined): Promise<void> {
    this.#away.add(who);
    const atNs = (performance.now() - this.#startMs) * 1e6;
    this.kills.push({ who, atNs });
    if (who === "controller") await this.#site.killController();
    else await this.#site.killAgent(who);
    meanwhile();
    const awayMs = drawInteger(this.#random, 0, 3000);
    const back = sleep(awayMs).then(() =>
      who === "controller" ? this.#site.startController() : this.#site.startAgent(who),
    );
    this.#coming.push(back.then(() => void this.#away.delete(who)));
  }

  async isBack(who: string): Promise<void> {
    while (this.#away.has(who)) await sleep(100);
  }

  /** Waits for a random time, and until somebody is there to be killed. @returns who */
  async next(): Promise<string> {
    await sleep(drawInteger(this.#random, 0, 2 * EVERY_MS));
    for (;;) {
      const there = ["controller", ...KILLED].filter((who) => !this.#away.has(who));
      // Of its site one half, of them all the other.
      const who = this.#random() < 0.4 ? "controller" : drawOne(this.#random, KILLED);
      if (there.includes(who)) return who;
      await sleep(50);
    }
  }

  async allBack(): Promise<void> {
    await Promise.all(this.#coming);
    await this.#site.allConnected();
  }
}

describe(`a soak with ${KILLS} kills at random instants, a full disk and an older store put back, seed ${SEED}`, () => {
  let site: LastingSite;
  let report: RunReport;
  let chaos: Chaos;
  let copies = "";
  let stints: readonly StintNumbers[] = [];
  const frames = new Map<string, number>();
  beforeAll(
    async () => {
      process.stderr.write(`chaos: seed ${SEED}, ${KILLS} kills; DYETRACE_SEED=${SEED} repeats it\n`);
      const random = seededRandom(SEED);
      site = await raiseLastingSite(SOAK_PLAN, {}, "32M");
      const counters = new Map<string, () => Promise<number>>();
      for (const listener of LISTENERS) {
        for (const { name, group } of STREAMS) {
          const match = `ip daddr ${group} udp dport 48620`;
          counters.set(`${name} ${listener}`, await countFrames(site.site, listener, match));
        }
      }
      const from = performance.now();
      await site.killController();
      await site.startController();
      await site.allConnected();
      const restartMs = performance.now() - from;
      const seconds = END_S + Math.ceil((KILLS * (EVERY_MS + restartMs)) / 1000) + 10;
      const runId = await site.startRun(scenario(seconds, "10 min"));
      const { startMs } = await site.begun(runId);
      const lastKillMs = startMs + (seconds - END_S) * 1000;
      chaos = new Chaos(site, random, startMs);
      copies = mkdtempSync(path.join(tmpdir(), "dyetrace-chaos-"));
      const backup = path.join(copies, "backup");
      // In the second third a copy is taken, in the last one it is put back; the disk is full once in the first.
      const [fullAt, copyAt, backAt] = [1, 2, 3].map((part) =>
        drawInteger(random, Math.ceil(((part - 1) * KILLS) / 3) + 1, Math.floor((part * KILLS) / 3) - 1),
      );
      for (let at = 0; at < KILLS; at++) {
        let who = await chaos.next();
        if (performance.now() > lastKillMs)
          throw new Error(`This machine was too slow for ${KILLS} kills: ${at} were done`);
        if (at === copyAt || at === backAt) {
          await chaos.isBack("controller");
          who = "controller";
        }
        if (at === fullAt) {
          await chaos.isBack("controller");
          site.disk?.fill();
          await sleep(3000);
          if (who === "controller") who = "kiosk-1"; // it would not start with a full disk
          await chaos.isBack(who);
          await chaos.kill(who);
          await sleep(3000);
          site.disk?.clear();
          chaos.done.push(`disk full for 6 s at kill ${at}`);
          continue;
        }
        await chaos.kill(who, () => {
          if (at === copyAt) copyData(site.dataFolder, backup);
          if (at === backAt) copyData(backup, site.dataFolder);
        });
        if (at === copyAt) chaos.done.push(`copy taken at kill ${at}`);
        if (at === backAt) chaos.done.push(`copy put back at kill ${at}`);
      }
      await chaos.allBack();
      report = await site.report(runId, seconds * 1000 + 180_000);
      for (const [key, count] of counters) frames.set(key, await count());
      await site.stopController("SIGTERM");
      const end = path.join(copies, "end");
      copyData(site.dataFolder, end);
      await using store = await openStore({ kind: "folder", folder: end });
      stints = await storedNumbers(store, runId);
      const killed = Object.fromEntries(
        ["controller", ...KILLED].map((who) => [who, chaos.kills.filter((one) => one.who === who).length]),
      );
      process.stderr.write(
        `chaos: ${JSON.stringify({ seed: SEED, seconds, killed, done: chaos.done, stints: stints.length })}\n`,
      );
      await site.startController({ DYETRACE_TEST_LIVE: "1" });
      await site.allConnected();
    },
    KILLS * 20_000 + 600_000,
  );
  afterAll(async () => {
    await site?.[Symbol.asyncDispose]();
    rmSync(copies, { recursive: true, force: true });
  });

  const streamId = (name: string): number => STREAMS.findIndex((one) => one.name === name) + 1;
  const heardBy = (agent: string, stream: string) =>
    stints
      .filter((one) => one.agent === agent)
      .flatMap(({ heard, isFinal }) => {
        const one = heard.get(streamId(stream));
        return one === undefined ? [] : [{ ...one, isFinal }];
      });
  const sum = (numbers: readonly number[]): number => numbers.reduce((all, one) => all + one, 0);
  /** How far each sender of a stream counted, as the witness heard it. */
  const counted = (stream: string): ReadonlyMap<number, number> =>
    new Map(
      heardBy(WITNESS, stream).flatMap(({ spans }) => spans.map(({ senderId, endSeq }) => [senderId, endSeq] as const)),
    );

  test("no report is missing, none is there twice, and none has been told away", () => {
    expect(chaos.done).toHaveLength(3);
    expect(stints.flatMap(({ agent, stint, mistakes }) => mistakes.map((one) => `${agent} ${stint}: ${one}`))).toEqual(
      [],
    );
    // Whatever an agent had told before it was killed is there: its next stint begins later, and its last ended just before.
    for (const { who, atNs } of chaos.kills.filter((one) => one.who !== "controller")) {
      const own = stints
        .filter(({ agent, fromNs }) => agent === who && fromNs < atNs)
        .toSorted((a, b) => a.fromNs - b.fromNs);
      const toNs = own.at(-1)?.toNs ?? Number.NaN;
      // Killed again before it had begun, it had told nothing.
      const before = chaos.kills.filter((one) => one.who === who && one.atNs < atNs).at(-1)?.atNs ?? 0;
      expect([who, atNs, toNs > atNs - UNTOLD_NS || toNs <= before + 1e9]).toEqual([who, atNs, true]);
    }
  });

  test.each(STREAMS)(
    "$name: what a listener counts that was never killed is what the kernel counted, number by number from the first to the last",
    ({ name }) => {
      const heard = heardBy(WITNESS, name);
      expect(sum(heard.map(({ lost, hostLost }) => lost - hostLost))).toBe(0);
      expect(sum(heard.map(({ received }) => received))).toBe(
        (frames.get(`${name} ${WITNESS}`) ?? 0) - sum(heard.map(({ hostLost }) => hostLost)),
      );
      for (const { received, lost, spans } of heard) {
        expect(spans.map(({ firstSeq }) => firstSeq)).toEqual(spans.map(() => 0));
        expect(received + lost).toBe(sum(spans.map(({ firstSeq, endSeq }) => endSeq - firstSeq)));
      }
    },
  );

  test.each(STREAMS)(
    "$name: what listeners count that were killed is each number once, and no more than came",
    ({ name, packetsPerS }) => {
      for (const agent of LISTENERS.filter((one) => one !== WITNESS)) {
        const heard = heardBy(agent, name);
        expect(sum(heard.map(({ lost, hostLost }) => lost - hostLost))).toBe(0);
        const spans = heard
          .flatMap((one) => one.spans)
          .toSorted((a, b) => a.senderId - b.senderId || a.firstSeq - b.firstSeq);
        for (const { received, lost, spans: own, isFinal } of heard) {
          const unsettled = received + lost - sum(own.map(({ firstSeq, endSeq }) => endSeq - firstSeq));
          expect(unsettled).toBeGreaterThanOrEqual(0);
          // The first numbers of a sender are told once nothing can come before them any more: a second later.
          expect(unsettled).toBeLessThanOrEqual(isFinal ? 0 : packetsPerS * 2.5);
        }
        for (const [index, { senderId, firstSeq }] of spans.entries()) {
          const before = spans[index - 1];
          if (before?.senderId === senderId) expect(firstSeq).toBeGreaterThanOrEqual(before.endSeq);
        }
        for (const { senderId, endSeq } of spans) expect(endSeq).toBeLessThanOrEqual(counted(name).get(senderId) ?? 0);
        expect(sum(heard.map(({ received }) => received))).toBeLessThanOrEqual(frames.get(`${name} ${agent}`) ?? 0);
      }
    },
  );

  test.each(STREAMS)(
    "$name: what its source says is what was heard of it, and where it was killed only its last second is unknown",
    ({ name, source, packetsPerS }) => {
      const told = stints
        .filter(({ agent }) => agent === source)
        .flatMap(({ sent, isFinal }) => {
          const one = sent.get(streamId(name));
          return one === undefined ? [] : [{ ...one, isFinal }];
        });
      expect(told.length).toBeGreaterThan(0);
      for (const { senderId, packets, endSeq, isFinal } of told) {
        const heard = counted(name).get(senderId) ?? 0;
        expect(endSeq).toBe(packets);
        if (isFinal) expect(packets).toBe(heard);
        else {
          expect(packets).toBeLessThanOrEqual(heard);
          expect(heard - packets).toBeLessThan((packetsPerS * UNTOLD_NS) / 1e9);
        }
      }
    },
  );

  test("the report: the network is accused of nothing, absences are named, and nothing that is unknown is told as lost", () => {
    expect(report.findings.filter(({ kind }) => ACCUSING_THE_WAY.includes(kind)).map(({ title }) => title)).toEqual([]);
    const incidents = report.incidents ?? [];
    expect(incidents.filter(({ kind }) => kind === "loss").map(({ title }) => title)).toEqual([]);
    const away = new Set(incidents.filter(({ kind }) => kind === "away").flatMap(({ agents }) => agents));
    const killed = new Set(chaos.kills.flatMap(({ who }) => (who === "controller" ? [] : who)));
    expect([...away].filter((who) => !killed.has(who))).toEqual([]);
    expect(report.verdict).not.toBe("pass");
    for (const one of report.stretches ?? []) {
      if (one.role === "listener") expect([one.agent, (one.lost ?? 0) - (one.hostLost ?? 0)]).toEqual([one.agent, 0]);
    }
  });

  test("a live run: given a controller that is killed at a random instant and stays away, then no source goes on beyond the hold time, and one that comes back holds the run to what a live site needs", async () => {
    const runId = await site.startRun(scenario(120, "5s"));
    const { startMs } = await site.begun(runId);
    const count = await countFrames(site.site, WITNESS, `ip daddr ${STREAMS[0]?.group} udp dport 48620`);
    await expect.poll(count, { timeout: 60_000 }).toBeGreaterThan(20);
    // Past the time in which a source without its controller stops anyway.
    await sleep(Math.max(0, startMs + 6000 - performance.now()) + drawInteger(seededRandom(SEED), 0, 4000));
    await site.killController();
    await sleep(HOLD_MS + 1000);
    const silentFrom = await count();
    await sleep(3000);
    expect(await count()).toBe(silentFrom);
    await site.startController({ DYETRACE_TEST_LIVE: "1" });
    await site.allConnected();
    await expect.poll(count, { timeout: 60_000 }).toBeGreaterThan(silentFrom + 20); // the run goes on
    await site.killController();
    await site.killAgent("kiosk-1");
    await site.startController({ DYETRACE_TEST_LIVE: "1" });
    const { notes } = await site.report(runId, 120_000);
    expect(notes.join(" ")).toMatch(/Stopped for safety: The agent kiosk-1 was lost/);
    const last = await count();
    await sleep(3000);
    expect(await count()).toBe(last);
  });
});
