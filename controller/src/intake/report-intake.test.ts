import type { ListenerInterval } from "@dyetrace/wire";
import { pino } from "pino";
import { afterEach, beforeEach, expect, test } from "vitest";
import type { AgentSession } from "../agents/agent-session.ts";
import { openStore, type Store } from "../store/store.ts";
import type { ReportMessage } from "./prepare-report.ts";
import { ReportIntake } from "./report-intake.ts";

/** One agent's report must never keep another's from being stored, whatever is in it. */
const RUN = "00000000000000aa";
const HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 0,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};

let store: Store;
let intake: ReportIntake;
let acknowledged: string[] = [];
let told: string[] = [];
let turnedAway: string[] = [];
beforeEach(async () => {
  store = await openStore({ kind: "memory" });
  const file = { file: "f.yaml", text: "" };
  const facts = { site: "Quillfen", scenario: "s", request: { site: file, scenario: file }, endNs: 1, startAtMs: null };
  await store.runs.add({ runId: RUN, ...facts, programVersion: "0", owner: "o" });
  [acknowledged, told, turnedAway] = [[], [], []];
  open();
});
afterEach(async () => {
  await intake.close();
  await store.close();
});

function open(mostWaitingBytes?: number): void {
  intake = new ReportIntake(store, pino({ level: "silent" }), mostWaitingBytes);
  intake.on("unusable", ({ name }, { firstNumber }, why) => told.push(`${name} ${firstNumber}: ${why}`));
}

const sessionOf = (name: string): AgentSession =>
  ({
    name,
    send: (message: { kind: string; lastNumber: number }) => {
      if (message.kind === "ack") acknowledged.push(`${name} ${message.lastNumber}`);
    },
    turnAway: ({ code }: { code: string }) => turnedAway.push(`${name} ${code}`),
  }) as unknown as AgentSession;

const message = (number: number, listeners: readonly ListenerInterval[] = []): ReportMessage => ({
  kind: "report",
  runId: RUN,
  stint: "00000000000000cc",
  firstNumber: number,
  lastNumber: number,
  droppedReports: 0,
  report: {
    fromNs: (number - 1) * 1e9,
    toNs: number * 1e9,
    listeners,
    senders: [],
    host: HOST,
    sourcesStopped: null,
    totals: null,
  },
  watch: null,
  isFinal: false,
});

/** As many lost ranges as one message has room for. */
function withRanges(count: number): ListenerInterval {
  const spans = Array.from({ length: Math.ceil(count / 16_384) }, (_, span) => {
    const firstSeq = span * 100_000;
    const lost = Array.from({ length: 16_384 }, (_, i) => [firstSeq + 2 * i, 1, i, 1, 0] as const);
    return { senderId: 7, firstSeq, endSeq: firstSeq + 40_000, lost, coarse: [] };
  });
  const lost = spans.length * 16_384;
  const receipt = { received: 0, firstCopies: 0, lost, hostLost: 0, duplicates: 0, reordered: 0, longestGap: null };
  const rest = { longestSilence: null, spans, pdvNs: { count: 0, sum: 0, min: null, max: null, bins: [] } };
  return { streamId: 1, receipt: { ...receipt, ...rest }, memberships: [] } as unknown as ListenerInterval;
}

const keptNumbers = async (): Promise<Record<string, number>> =>
  Object.fromEntries((await store.reports.stints(RUN)).map(({ agent, keptNumber }) => [agent, keptNumber]));

test("ReportIntake: given a report with 163,840 lost ranges, then it is stored as any other", async () => {
  intake.take(sessionOf("kiosk"), message(1, [withRanges(163_840)]));
  intake.take(sessionOf("stand"), message(1));
  await intake.settle();
  expect([intake.isTroubled, told]).toEqual([false, []]);
  expect(await keptNumbers()).toEqual({ kiosk: 1, stand: 1 });
  const [loss] = await store.reports.episodes(RUN, 0, 1e9, 10);
  expect(loss).toMatchObject({ kind: "loss", agent: "kiosk", count: 163_840, fromNs: 0, toNs: 16_384 });
});

test("ReportIntake: given a report that cannot even be prepared, then its agent is named, it is acknowledged and noted as missing, and the others are stored", async () => {
  const broken = {
    streamId: 1,
    get receipt(): never {
      throw new RangeError("too much");
    },
  };
  intake.take(sessionOf("kiosk"), message(1, [broken as unknown as ListenerInterval]));
  intake.take(sessionOf("stand"), message(1));
  await intake.settle();
  expect(told).toEqual(["kiosk 1: RangeError: too much"]);
  expect(acknowledged.sort()).toEqual(["kiosk 1", "stand 1"]);
  expect(await keptNumbers()).toEqual({ stand: 1 });
  expect(await store.reports.episodes(RUN, 0, 1e9, 10)).toMatchObject([{ kind: "dropped", agent: "kiosk", count: 1 }]);
});

/** Makes the store refuse every batch that holds a report of this agent. */
function refusing(agent: string, error: Error): void {
  const { reports } = store;
  const keep = reports.keep.bind(reports);
  reports.keep = (batch) => (batch.some((one) => one.agent === agent) ? Promise.reject(error) : keep(batch));
}
const failure = (code: string): Error => Object.assign(new Error(`failed with ${code}`), { code });

test.each([
  ["a data exception of PostgreSQL", failure("22003")],
  ["a failure that nobody knows", new Error("strange")],
])(
  "ReportIntake: given one report that the store answers with %s, then it is left out and 99 others are stored",
  async (_what, error) => {
    refusing("kiosk", error);
    for (let i = 0; i < 100; i++) intake.take(sessionOf(i === 42 ? "kiosk" : `agent${i}`), message(1));
    await intake.settle();
    expect(intake.isTroubled).toBe(false);
    expect(told).toEqual([`kiosk 1: ${String(error)}`]);
    expect(acknowledged).toHaveLength(100);
    expect(Object.keys(await keptNumbers())).toHaveLength(99);
  },
);

test.each([
  ["that is full", failure("SQLITE_FULL")],
  ["that fails for everyone for a reason that nobody knows", new Error("strange")],
])(
  "ReportIntake: given a store %s, then nothing is acknowledged or left out, and all is stored once it works again",
  async (_what, error) => {
    const keep = store.reports.keep.bind(store.reports);
    store.reports.keep = () => Promise.reject(error);
    for (let number = 1; number <= 5; number++) intake.take(sessionOf("kiosk"), message(number));
    await intake.settle();
    expect([intake.isTroubled, acknowledged, told]).toEqual([true, [], []]);
    store.reports.keep = keep;
    await expect.poll(() => intake.isTroubled, { timeout: 20_000 }).toBe(false);
    expect(acknowledged).toEqual([1, 2, 3, 4, 5].map((number) => `kiosk ${number}`));
    expect(await keptNumbers()).toEqual({ kiosk: 5 });
    expect(intake.waitingBytes).toBe(0);
  },
);

test("ReportIntake: given more reports than may wait, then the connection that brings them begins anew once there is room, and nothing after the first that was left is acknowledged on it", async () => {
  open(2000);
  const keep = store.reports.keep.bind(store.reports);
  store.reports.keep = () => Promise.reject(failure("SQLITE_FULL"));
  const session = sessionOf("kiosk");
  for (let number = 1; number <= 100; number++) intake.take(session, message(number));
  await intake.settle();
  expect(intake.waitingBytes).toBeLessThan(4000);
  store.reports.keep = keep;
  await expect.poll(() => intake.isTroubled, { timeout: 20_000 }).toBe(false);
  expect(turnedAway).toEqual(["kiosk TOO_MANY"]);
  const { kiosk: last = 0 } = await keptNumbers();
  expect(last).toBeLessThan(10);
  expect(acknowledged).toEqual(Array.from({ length: last }, (_, i) => `kiosk ${i + 1}`));
});

/** As a connection of an agent that sends again what is missing (protocol 7). */
function newAgent(name: string, stored: { stint: string; lastNumber: number }[][]): AgentSession {
  const session = sessionOf(name);
  const send = (message: Parameters<AgentSession["send"]>[0]): void => {
    if (message.kind === "stored") stored.push([...message.stints]);
    else session.send(message);
  };
  return { ...session, protocol: 7, send };
}

test("ReportIntake: given a store that lacks reports which were acknowledged, then what follows them is not stored before them, the agent is told once how far it is stored, and all is there in the end", async () => {
  const stored: { stint: string; lastNumber: number }[][] = [];
  const agent = newAgent("kiosk", stored);
  for (const number of [1, 2, 6, 7]) intake.take(agent, message(number));
  await intake.settle();
  intake.take(agent, message(8));
  await intake.settle();
  await new Promise((resolve) => setTimeout(resolve, 50));
  expect(acknowledged).toEqual(["kiosk 1", "kiosk 2"]);
  expect(stored).toEqual([[{ stint: "00000000000000cc", lastNumber: 2 }]]);
  expect(intake.isAwaiting(RUN)).toBe(true);
  for (const number of [3, 4, 5, 6, 7, 8]) intake.take(agent, message(number));
  await intake.settle();
  expect(acknowledged.slice(2)).toEqual([3, 4, 5, 6, 7, 8].map((number) => `kiosk ${number}`));
  expect(intake.isAwaiting(RUN)).toBe(false);
  expect((await store.reports.stints(RUN))[0]).toMatchObject({ keptNumber: 8, droppedReports: 0 });
});

test("ReportIntake: given an agent that says how many of its reports are no more, or an older one, then what follows them is stored", async () => {
  const agent = newAgent("kiosk", []);
  intake.take(agent, { ...message(5), droppedReports: 4 });
  intake.take(sessionOf("old"), message(5));
  await intake.settle();
  expect(acknowledged).toEqual(["kiosk 5", "old 5"]);
  expect(intake.isAwaiting(RUN)).toBe(false);
});

test("ReportIntake: given a report that can never be stored, then the next one does not wait for it", async () => {
  const stored: { stint: string; lastNumber: number }[][] = [];
  const agent = newAgent("kiosk", stored);
  const keep = store.reports.keep.bind(store.reports);
  store.reports.keep = async (batch) => {
    if (batch.some(({ lastNumber }) => lastNumber === 2)) throw Object.assign(new Error("made up"), { code: "22P05" });
    return keep(batch);
  };
  for (const number of [1, 2]) intake.take(agent, message(number));
  await intake.settle();
  intake.take(agent, message(3));
  await intake.settle();
  expect(acknowledged).toEqual(["kiosk 1", "kiosk 2", "kiosk 3"]);
  expect(stored).toEqual([]);
});
