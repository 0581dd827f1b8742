import { BlockList } from "node:net";
import { type AgentTask, AgentTaskSchema, DEFAULT_GUARDS, type Guards, parseAs, type TaskStream } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";
import { remainingTask } from "../control/remaining-task.ts";
import { refuseTask } from "../guards/guards.ts";
import { SendBudget } from "../guards/send-budget.ts";
import type { PacketOut } from "../sockets/packet-out.ts";
import { SharedControl } from "../workers/shared-control.ts";
import { GuardedOut } from "./guarded-out.ts";
import { SenderRun } from "./sender-run.ts";
import { StreamSource } from "./stream-source.ts";

/**
 * Whatever a controller orders, in whatever order, what leaves the host keeps to the guards. Looked at from outside: every
 * packet that a socket was handed, with its time, against rules worked out here by other means than the agent's own.
 */
interface Sent {
  readonly atNs: number;
  readonly bits: number;
  readonly stream: TaskStream;
}

/** The kernel, which takes everything. */
class Wire implements PacketOut {
  readonly headBytes = 160;
  capacity = 1;
  heads = new DataView(new ArrayBuffer(0));
  headsBytes = new Uint8Array(0);
  readonly refusal = "other";
  readonly errorName = "";
  onSettled: PacketOut["onSettled"] = null;
  #bytes = 0;
  readonly #take: (bits: number) => void;

  constructor(take: (bits: number) => void) {
    this.#take = take;
  }

  lay(packet: Uint8Array, capacity: number): void {
    this.capacity = capacity;
    this.#bytes = packet.length;
    this.headsBytes = new Uint8Array(capacity * this.headBytes);
    this.heads = new DataView(this.headsBytes.buffer);
  }

  send(_from: number, count: number): number {
    for (let i = 0; i < count; i++) this.#take(this.#bytes * 8);
    return count;
  }

  close(): void {}
}

/** Mostly what a decent controller would order, so that enough is sent; and now and then anything the schema lets through. */
const mostly = <T>(usual: fc.Arbitrary<T>, ...odd: readonly fc.Arbitrary<T>[]): fc.Arbitrary<T> =>
  fc.oneof({ weight: 12, arbitrary: usual }, ...odd.map((arbitrary) => ({ weight: 1, arbitrary })));

const streamOf = fc.record({
  streamId: fc.constant(0), // counted up below
  name: fc.constant("s"),
  group: mostly(
    fc.constantFrom("239.195.10.4", "239.195.20.9"),
    fc.constantFrom("224.0.0.5", "239.255.1.1", "239.128.0.5", "239.195.200.1", "ff15::9", "ff02::9", "192.0.2.1"),
    fc.constantFrom("ff12::8000:1", "ff05::8000:1", "224.0.1.129", "239.255.255.250", "ff15::8000:1"),
  ),
  port: mostly(fc.constant(48_620), fc.constantFrom(53, 1023, 65_535)),
  ssmSource: fc.constant(null),
  rateBps: mostly(fc.double({ min: 1e3, max: 3e5, noNaN: true }), fc.double({ min: 1, max: 1e12, noNaN: true })),
  payloadBytes: mostly(fc.integer({ min: 500, max: 1500 }), fc.integer({ min: 96, max: 65_507 })),
  ttl: mostly(fc.integer({ min: 1, max: 4 }), fc.constantFrom(5, 255)),
  dscp: mostly(fc.constant(0), fc.constant(46)),
  burstPackets: mostly(fc.constantFrom(1, 4), fc.integer({ min: 1, max: 1024 })),
});

const changeOf = fc.record(
  {
    rateBps: mostly(fc.double({ min: 1e3, max: 3e5, noNaN: true }), fc.double({ min: 1e3, max: 1e9, noNaN: true })),
    payloadBytes: mostly(fc.integer({ min: 500, max: 1500 }), fc.integer({ min: 96, max: 65_507 })),
  },
  { requiredKeys: [] },
);
const actionOf = fc
  .record({
    atNs: fc.oneof(fc.double({ min: 0, max: 5e9, noNaN: true }), fc.constantFrom(0, 1, 1e6, 1e9)),
    kind: fc.constantFrom("emit", "emit", "stop", "set", "set", "join", "leave"),
    streamId: mostly(fc.integer({ min: 0, max: 1 }), fc.constant(7)),
    change: changeOf,
  })
  .map(({ change, ...action }) => ({ ...action, ...change }));

/** The same stream started anew as fast as an order can say it: each start sends its first burst at once. */
const flutter = fc
  .tuple(fc.integer({ min: 2, max: 400 }), fc.constantFrom("set", "emit"))
  .map(([count, kind]) =>
    Array.from({ length: count }, (_, i) => ({ atNs: i * 1e5, kind: i === 0 ? "emit" : kind, streamId: 0 })),
  );

const taskOf = fc.record({
  runId: fc.constant("0123456789abcdef"),
  streams: fc
    .array(streamOf, { minLength: 2, maxLength: 4 })
    // Now and then two streams bear one number.
    .chain((streams) =>
      mostly(fc.constant(4), fc.constant(2)).map((ids) =>
        streams.map((stream, index) => ({ ...stream, streamId: index % ids })),
      ),
    ),
  actions: fc.oneof(
    fc.array(actionOf, { minLength: 1, maxLength: 10 }),
    fc.array(actionOf, { minLength: 1, maxLength: 10 }).map((all) => all.toSorted((a, b) => a.atNs - b.atNs)),
    flutter,
  ),
  endNs: mostly(fc.double({ min: 1e9, max: 6e9, noNaN: true }), fc.constant(1e15), fc.constant(0)),
  intervalNs: fc.constant(1e9),
  holdNs: fc.double({ min: 1e9, max: 5e9, noNaN: true }),
});

const orderOf = fc.oneof(
  fc.record({ kind: fc.constant("run" as const), task: taskOf, forMs: fc.integer({ min: 10, max: 4000 }) }),
  fc.record({
    kind: fc.constant("resume" as const),
    task: taskOf,
    forMs: fc.integer({ min: 10, max: 3000 }),
    fromNs: fc.double({ min: 0, max: 5e9, noNaN: true }),
  }),
);

const guardsOf: fc.Arbitrary<Guards> = fc
  .record({
    allowSending: fc.constantFrom(true, true, true, false),
    maxRateBps: fc.constantFrom(1e5, 2e6, 10e6),
    maxPacketsPerSecond: fc.constantFrom(20, 300, 1000),
    allowedGroups: fc.constantFrom<string[]>(["224.0.0.0/4", "ff00::/8"], ["239.195.0.0/17"]),
    refusedGroups: fc.constantFrom<string[]>([], ["239.195.20.0/24"]),
    maxTtl: fc.constant(4),
    maxDurationNs: mostly(fc.constant(60e9), fc.constant(2e9)),
    maxHoldNs: mostly(fc.constant(600e9), fc.constant(1e9)),
    maxStreams: fc.constantFrom(1, 3),
  })
  .map((own) => ({ ...DEFAULT_GUARDS, ...own }));

/** Reserved, as the standards have it: RFC 5771 sections 4 and 5, RFC 4607, RFC 2365 section 6.1, RFC 4291 section 2.7. */
const RESERVED = ["224.0.0.0/24", "224.0.1.0/24", "232.0.0.0/24", "239.255.0.0/16", "ff00::/12", "ff12::/16"];

/** node's own implementation of address ranges. */
function listOf(ranges: readonly string[]): BlockList {
  const list = new BlockList();
  for (const range of ranges) {
    const [address = "", bits = ""] = range.split("/");
    list.addSubnet(address, Number(bits), address.includes(":") ? "ipv6" : "ipv4");
  }
  return list;
}
const isIn = (list: BlockList, group: string): boolean => list.check(group, group.includes(":") ? "ipv6" : "ipv4");

/** RFC 1112 section 6.4: the low 23 bits of an IPv4 group; 01:00:5e:00:00:xx belongs to 224.0.0.0/24. */
const isAlias = (group: string): boolean => {
  if (group.includes(":")) return /^[^:]+::[0-9a-f]{1,2}$/.test(group); // RFC 2464 section 7
  const [, b = 0, c] = group.split(".").map(Number);
  return (b & 0x7f) === 0 && c === 0;
};

/**
 * A host and its thread on a clock of its own. `isBlind` leaves out the look at the whole task before it begins, so that
 * what the sender itself keeps to is seen alone.
 */
function play(guards: Guards, orders: readonly { task: unknown; forMs: number; fromNs?: number }[], isBlind: boolean) {
  let nowNs = 1e12;
  const clock = (): number => nowNs;
  const budget = new SendBudget(guards, nowNs);
  const sent: Sent[] = [];
  for (const { task: asked, forMs, fromNs } of orders) {
    const whole: AgentTask = parseAs(AgentTaskSchema, asked, "MESSAGE_INVALID", "task");
    const task = fromNs === undefined || fromNs >= whole.endNs ? whole : remainingTask(whole, fromNs);
    if (!isBlind && refuseTask(task, guards) !== null) continue;
    const startNs = nowNs;
    const control = new SharedControl();
    control.reset(nowNs);
    const emitted = new Set(task.actions.filter(({ kind }) => kind === "emit").map(({ streamId }) => streamId));
    const sources = task.streams
      .filter(({ streamId }) => emitted.has(streamId))
      .map((stream) => {
        const wire = new Wire((bits) => {
          sent.push({ atNs: nowNs, bits, stream });
          expect(nowNs - startNs).toBeLessThanOrEqual(Math.min(task.endNs, guards.maxDurationNs) + STEP_NS);
          expect(nowNs - startNs).toBeLessThanOrEqual(
            Math.floor(Math.min(task.holdNs, guards.maxHoldNs) / 1e6) * 1e6 + 2e6 + STEP_NS,
          ); // nobody speaks
        });
        const identity = { runId: task.runId, senderId: 1, contact: "" };
        return new StreamSource(stream, identity, new GuardedOut(wire, budget, clock), clock);
      });
    const refused = (): void => undefined;
    const options = { task, sources, guards, budget, control, clock, onInterval: refused, onRefused: refused };
    const run = new SenderRun(options, startNs, 1_800_000_000_000_000_000n);
    while (!run.isOver && nowNs < startNs + forMs * 1e6) {
      const nextNs = run.step();
      const sending = new Set(sources.filter((source) => source.isSending));
      expect(sending.size).toBeLessThanOrEqual(guards.maxStreams);
      nowNs = Math.max(nowNs + 1000, Math.min(nextNs, nowNs + STEP_NS));
    }
    control.abort();
    if (!run.isOver) run.step();
  }
  return sent;
}

/** As long as a thread sleeps without a look. */
const STEP_NS = 50e6;
const SECOND_NS = 1e9;
/** What the guards mean by a rate: a quarter of a second's worth, or one packet, may leave at once. */
const AT_ONCE_S = 0.25;

function checkAgainst(guards: Guards, sent: readonly Sent[]): void {
  if (!guards.allowSending) expect(sent).toEqual([]);
  const [allowed, refused] = [listOf(guards.allowedGroups), listOf([...guards.refusedGroups, ...RESERVED])];
  for (const { stream } of sent) {
    expect(isIn(allowed, stream.group) && !isIn(refused, stream.group) && !isAlias(stream.group)).toBe(true);
    expect(stream.port).toBeGreaterThanOrEqual(1024);
    expect(stream.ttl).toBeLessThanOrEqual(guards.maxTtl);
    expect(stream.dscp).toBeLessThanOrEqual(guards.maxDscp);
  }
  const mostPackets = guards.maxPacketsPerSecond + Math.max(1, guards.maxPacketsPerSecond * AT_ONCE_S);
  const mostBits = guards.maxRateBps + Math.max(65_507 * 8, guards.maxRateBps * AT_ONCE_S);
  let first = 0;
  let bits = 0;
  for (const [last, packet] of sent.entries()) {
    bits += packet.bits;
    for (
      let oldest = sent[first];
      oldest !== undefined && packet.atNs - oldest.atNs > SECOND_NS;
      oldest = sent[++first]
    ) {
      bits -= oldest.bits;
    }
    expect(last - first + 1).toBeLessThanOrEqual(mostPackets);
    expect(bits).toBeLessThanOrEqual(mostBits);
  }
}

test.each([
  ["looked at before it begins", false],
  ["not looked at before", true],
])(
  "guards: given any orders in any sequence, each task %s, then what leaves the host keeps to them",
  (_what, isBlind) => {
    let packets = 0;
    fc.assert(
      fc.property(guardsOf, fc.array(orderOf, { minLength: 1, maxLength: 5 }), (guards, orders) => {
        const sent = play(guards, orders, isBlind);
        packets += sent.length;
        checkAgainst(guards, sent);
      }),
      { numRuns: 250 },
    );
    expect(packets).toBeGreaterThan(1000); // of some 5,000, or the property would have looked at nothing
  },
);

test("guards: given a stream that is started anew ten thousand times a second, then the host stops its sources and says why", () => {
  const guards = { ...DEFAULT_GUARDS, allowSending: true };
  const stream = {
    streamId: 0,
    name: "s",
    group: "239.195.10.4",
    port: 48_620,
    ssmSource: null,
    rateBps: 1e6,
    payloadBytes: 1316,
    ttl: 1,
    dscp: 0,
    burstPackets: 100,
  };
  const actions = Array.from({ length: 4000 }, (_, i) => ({
    atNs: i * 1e5,
    kind: i === 0 ? "emit" : "set",
    streamId: 0,
  }));
  const task = { runId: "0123456789abcdef", streams: [stream], actions, endNs: 5e9, intervalNs: 1e9, holdNs: 5e9 };
  const sent = play(guards, [{ task, forMs: 5000 }], false);
  // Worked out by hand: a quarter of 10 Mbit/s is 237 packets of 1316 B; without the guard it would be 400,000.
  expect(sent.length).toBeGreaterThan(100);
  expect(sent.length).toBeLessThanOrEqual(240);
});

test("guards: given a task that ends a stream and forgets its companion, then the companion ends with it, though nobody looked before", () => {
  const guards = { ...DEFAULT_GUARDS, allowSending: true, companionHosts: ["192.0.2.0/24"] };
  const shared = { name: "s", port: 48_620, ssmSource: null, rateBps: 10_240, payloadBytes: 128, ttl: 1, dscp: 0 };
  const board = { ...shared, streamId: 1, group: "239.195.10.4", burstPackets: 1 };
  const companion = { ...shared, streamId: 2, group: "192.0.2.7", burstPackets: 1, companionOf: 1 };
  const actions = [
    { atNs: 0, kind: "emit", streamId: 1 },
    { atNs: 0, kind: "emit", streamId: 2 },
    { atNs: 2e9, kind: "stop", streamId: 1 },
  ];
  const task = {
    runId: "0123456789abcdef",
    streams: [board, companion],
    actions,
    endNs: 5e9,
    intervalNs: 1e9,
    holdNs: 5e9,
  };
  const sent = play(guards, [{ task, forMs: 5000 }], true).filter(({ stream }) => stream.streamId === 2);
  expect(sent.length).toBe(20); // ten a second
  expect(Math.max(...sent.map(({ atNs }) => atNs))).toBeLessThan(1e12 + 2e9);
});
