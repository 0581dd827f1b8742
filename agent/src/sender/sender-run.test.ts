import {
  type AgentTask,
  DEFAULT_GUARDS,
  emptyTestPacket,
  type Guards,
  readTestPacket,
  type TaskAction,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { PacketOut, SendRefusal } from "../sockets/packet-out.ts";
import { SharedControl } from "../workers/shared-control.ts";
import type { IntervalPart } from "../workers/worker-protocol.ts";
import { SenderRun } from "./sender-run.ts";
import { StreamSource } from "./stream-source.ts";

const START_NS = 1_000e9;
const START_WALL_NS = 1_800_000_000_123_456_789n;
const GUARDS: Guards = { ...DEFAULT_GUARDS, allowSending: true, maxRateBps: 1e9, maxPacketsPerSecond: 1e6 };

/** A socket that keeps what it was given, and refuses when told to. */
class KeptOut implements PacketOut {
  readonly headBytes = 100; // whole packets of 100 B
  capacity = 1;
  heads = new DataView(new ArrayBuffer(0));
  headsBytes = new Uint8Array(0);
  refusal: SendRefusal = "other";
  errorName = "";
  onSettled: PacketOut["onSettled"] = null;
  readonly sent: { readonly seq: number; readonly sentNs: number }[] = [];
  /** Answers to come, first first: how many are taken at most, or why none is. */
  readonly answers: (number | "enobufs" | "ENETUNREACH")[] = [];
  isClosed = false;

  lay(packet: Uint8Array, capacity: number): void {
    this.capacity = capacity;
    this.headsBytes = new Uint8Array(capacity * packet.length);
    this.heads = new DataView(this.headsBytes.buffer);
    for (let i = 0; i < capacity; i++) this.headsBytes.set(packet, i * packet.length);
  }

  send(from: number, count: number): number {
    const answer = this.answers.shift() ?? count;
    if (typeof answer === "string") {
      this.refusal = answer === "enobufs" ? "enobufs" : "other";
      this.errorName = answer === "enobufs" ? "ENOBUFS" : answer;
      return 0;
    }
    const taken = Math.min(answer, count);
    const packet = emptyTestPacket();
    const [hi, lo] = [Number(START_WALL_NS >> 32n), Number(START_WALL_NS & 0xffffffffn)];
    for (let i = from; i < from + taken; i++) {
      const verdict = readTestPacket(this.heads, this.headsBytes, i * 100, 100, hi, lo, packet);
      if (verdict !== "test") throw new Error(`packet ${i} is ${verdict}`);
      this.sent.push({ seq: packet.seq, sentNs: packet.sentNs });
    }
    return taken;
  }

  close(): void {
    this.isClosed = true;
  }
}

/** A run of one stream of 100 packets/s of 100 B, on a clock that the test moves. @param lookNs by which each look at it moves it */
function runOf(actions: readonly TaskAction[], changes: Partial<AgentTask> = {}, guards = GUARDS, lookNs = 0) {
  const stream = {
    streamId: 1,
    name: "s",
    group: "239.195.1.1",
    port: 48_620,
    ssmSource: null,
    rateBps: 80e3,
    payloadBytes: 100,
    ttl: 1,
    dscp: 0,
    burstPackets: 1,
  };
  const task: AgentTask = {
    runId: "0123456789abcdef",
    streams: [stream],
    actions: [...actions],
    endNs: 10e9,
    intervalNs: 1e9,
    holdNs: 5e9,
    ...changes,
  };
  let nowNs = START_NS;
  const clock = (): number => {
    nowNs += lookNs;
    return nowNs;
  };
  const out = new KeptOut();
  const source = new StreamSource(stream, { runId: task.runId, senderId: 9, contact: "" }, out, clock);
  const control = new SharedControl();
  control.reset(START_NS);
  const parts: IntervalPart[] = [];
  const refusals: string[] = [];
  const run = new SenderRun(
    {
      task,
      sources: [source],
      guards,
      budget: null,
      control,
      clock,
      onInterval: (part) => parts.push(part),
      onRefused: ({ message }) => refusals.push(message),
    },
    START_NS,
    START_WALL_NS,
  );
  /** Steps as a thread would that is never late, except where the test makes it so. */
  const until = (atNs: number, isHeard = true): void => {
    while (!run.isOver) {
      if (isHeard) control.hear(nowNs);
      const wakeNs = Math.min(run.step(), nowNs + 50e6);
      if (wakeNs > START_NS + atNs) break;
      nowNs = Math.max(nowNs, wakeNs);
    }
    nowNs = Math.max(nowNs, START_NS + atNs);
  };
  const jump = (toNs: number): void => {
    nowNs = START_NS + toNs;
    control.hear(nowNs);
    run.step();
  };
  const elapsedNs = (): number => nowNs - START_NS;
  return { run, source, out, until, jump, elapsedNs, parts, refusals, control };
}

const EMIT: TaskAction = { atNs: 1e9, kind: "emit", streamId: 1 };
const STOP: TaskAction = { atNs: 3e9, kind: "stop", streamId: 1 };

test("SenderRun: given a start and a stop, then each packet leaves at its due time with the next number", () => {
  const { out, until, parts } = runOf([EMIT, STOP]);
  until(11e9);
  expect(out.sent).toEqual(Array.from({ length: 200 }, (_, seq) => ({ seq, sentNs: 1e9 + seq * 10e6 })));
  expect(parts.map(({ senders }) => senders[0]?.sentPackets)).toEqual([0, 100, 100, 0, 0, 0, 0, 0, 0, 0]);
  expect(parts.map(({ senders }) => senders[0]?.lastSeq)).toEqual([null, 99, 199, ...Array(7).fill(null)]);
  expect(parts.at(-1)?.totals?.senders[0]).toMatchObject({ sentPackets: 200, sentBytes: 20_000, skippedPackets: 0 });
  expect(parts.at(-1)?.sourcesStopped?.why).toBe("as-planned");
});

test("SenderRun: given a thread held up for 1 s, then 20 ms' worth is caught up, the rest is skipped and the stall told", () => {
  const { out, until, jump, parts } = runOf([EMIT, STOP]);
  until(1.4949e9); // 50 packets
  jump(2.495e9); // 100 are due since; those of 2.48 and 2.49 s are less than 20 ms late
  expect(out.sent.map(({ seq }) => seq)).toEqual(Array.from({ length: 52 }, (_, seq) => seq)); // no number is missing
  until(11e9);
  const total = parts.at(-1)?.totals?.senders[0];
  expect(total).toMatchObject({ sentPackets: 102, skippedPackets: 98, lastSeq: 101 });
  expect(total?.stalls).toEqual([{ atNs: 1.5e9, durationNs: 0.995e9 }]);
});

test("SenderRun: given a kernel that is full once, then the packet is tried again; given twice, it is declared skipped", () => {
  const { out, until, parts } = runOf([EMIT, STOP]);
  out.answers.push("enobufs", 1, "enobufs", "enobufs");
  until(11e9);
  const total = parts.at(-1)?.totals?.senders[0];
  expect(total).toMatchObject({ sentPackets: 199, skippedPackets: 1, sendErrors: { enobufs: 3, eagain: 0, other: 0 } });
  expect(out.sent.map(({ seq }) => seq)).toEqual(Array.from({ length: 199 }, (_, seq) => seq));
});

test("SenderRun: given an unreachable network, then nothing counts as sent and the error has a name", () => {
  const { out, until, parts } = runOf([EMIT, STOP]);
  out.answers.push(...Array<"ENETUNREACH">(200).fill("ENETUNREACH"));
  until(11e9);
  const total = parts.at(-1)?.totals?.senders[0];
  expect(total).toMatchObject({ sentPackets: 0, firstSeq: null, pacing: null, skippedPackets: 200 });
  expect(total).toMatchObject({ sendErrors: { other: 200 }, lastError: "ENETUNREACH" });
});

test("SenderRun: given a controller that falls silent, then the source stops after the hold time, once and for all", () => {
  const { out, until, parts } = runOf([EMIT, { ...STOP, atNs: 9e9 }, { ...EMIT, atNs: 9.5e9 }], { holdNs: 2e9 });
  until(1.5e9);
  until(11e9, false);
  expect(parts.at(-1)?.sourcesStopped?.why).toBe("hold-time");
  expect(out.sent.at(-1)?.sentNs).toBeGreaterThan(3.4e9);
  expect(out.sent.at(-1)?.sentNs).toBeLessThan(3.6e9);
});

test("SenderRun: given no stop, then the deadline is the task's end or the host's longest duration, whichever is sooner", () => {
  const long = runOf([EMIT]);
  long.until(20e9);
  expect(long.out.sent.at(-1)?.sentNs).toBe(9.99e9);
  expect(long.parts.at(-1)?.sourcesStopped).toMatchObject({ why: "deadline", atNs: 10e9 });
  const short = runOf([EMIT], {}, { ...GUARDS, maxDurationNs: 4e9 });
  short.until(20e9);
  expect(short.out.sent.at(-1)?.sentNs).toBeLessThan(4e9);
  expect(short.parts.at(-1)?.sourcesStopped).toMatchObject({ why: "deadline", atNs: 4e9 });
});

test("SenderRun: given an abort, then the next step ends the run with its report", () => {
  const { run, until, jump, parts, control } = runOf([EMIT, STOP]);
  until(1.55e9);
  control.abort();
  jump(1.6e9);
  expect(run.isOver).toBe(true);
  expect(parts.at(-1)).toMatchObject({ toNs: 1.6e9, sourcesStopped: { why: "aborted" } });
});

test.each([
  ["a start", EMIT, { ...GUARDS, allowSending: false }],
  ["a change", { atNs: 1.5e9, kind: "set", streamId: 1, rateBps: 2e6 } as TaskAction, { ...GUARDS, maxRateBps: 1e6 }],
])("SenderRun: given %s past the guards that reached the thread, then every source stops", (_, action, guards) => {
  const { out, until, parts, refusals } = runOf(action.kind === "emit" ? [action] : [EMIT, action], {}, guards);
  until(11e9);
  expect(out.sent.length).toBe(action.kind === "emit" ? 0 : 50);
  expect(parts.at(-1)?.sourcesStopped?.why).toBe("guard");
  expect(refusals).toHaveLength(1);
});

test("SenderRun: given a stop that the thread comes to late, then what was due before it still goes out", () => {
  const { out, until, jump } = runOf([EMIT, STOP]);
  until(2.9849e9);
  jump(3.005e9); // the packet of 2.99 s is due, 15 ms ago, and the stop at 3 s
  expect(out.sent.at(-1)?.seq).toBe(199);
});

test("SenderRun: given a long hold time and a controller lost as sending begins, then 5 s count; lost later, the long one", () => {
  const changes = { holdNs: 600e9, endNs: 60e9 };
  const early = runOf([EMIT, { ...STOP, atNs: 59e9 }], changes);
  early.until(2e9);
  early.until(20e9, false);
  expect(early.out.sent.at(-1)?.sentNs).toBeGreaterThan(6.9e9);
  expect(early.out.sent.at(-1)?.sentNs).toBeLessThan(7.1e9);
  const late = runOf([EMIT, { ...STOP, atNs: 59e9 }], changes);
  late.until(6e9);
  late.until(20e9, false);
  expect(late.out.sent.at(-1)?.sentNs).toBeGreaterThan(19.9e9);
});

test("SenderRun: given 60,000 actions at one instant, then the brakes are looked at between them, and an abort ends all of it", () => {
  const actions = Array.from(
    { length: 60_000 },
    (_, i): TaskAction => ({ ...EMIT, atNs: 0, kind: i === 0 ? "emit" : "set" }),
  );
  // Each look at the clock takes its time, and what is done between two of them.
  const { run, source, control, elapsedNs } = runOf(actions, {}, GUARDS, 5000);
  const wakeNs = run.step();
  expect(elapsedNs()).toBeLessThan(30e6);
  expect(wakeNs - START_NS).toBeLessThanOrEqual(elapsedNs()); // there is more to do at once
  control.abort();
  run.step();
  expect([run.isOver, source.isSending]).toEqual([true, false]);
});
