import { type AgentMessage, AgentMessageSchema, type IntervalReport, parseMessage } from "@dyetrace/wire";
import { emptyTestPacket } from "@dyetrace/wire/test-packet";
import fc from "fast-check";
import { expect, test } from "vitest";
import { asRefusal } from "../../agent/src/control/as-refusal.ts";
import { shiftReport } from "../../agent/src/control/shift-report.ts";
import { mergeReportMessages } from "../../agent/src/control/spool/merge-report-messages.ts";
import { completeMessage, writtenReport } from "../../agent/src/control/spool/written-report.ts";
import { IntervalMerge } from "../../agent/src/data-plane/interval-merge.ts";
import { PacingRecord } from "../../agent/src/sender/pacing-record.ts";
import { SourceCount } from "../../agent/src/sender/source-count.ts";
import { ForeignRecord } from "../../agent/src/sockets/foreign-record.ts";
import { ListenedStream } from "../../agent/src/sockets/listened-stream.ts";
import { MembershipLog } from "../../agent/src/watcher/membership-log.ts";
import type { IntervalPart } from "../../agent/src/workers/worker-protocol.ts";
import { contradictionOf } from "../../controller/src/agents/report-contradiction.ts";

/**
 * What an honest agent says on a host that starves it: threads that stand still for seconds, clocks that step, packets that
 * come late, twice or from a second sender. Whatever happens, its reports fit the schema that the controller asks, on the
 * way through the short form and merged in the spool, and contradict themselves in nothing.
 */
type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;

const INTERVAL_NS = 1e9;
const STREAM = {
  streamId: 1,
  name: "board",
  group: "233.252.0.10",
  port: 48_620,
  ssmSource: null,
  rateBps: 80e3,
  payloadBytes: 100,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
};
const COUNTERS = {
  since: () => ({
    udpRcvbufErrors: 0,
    udpInErrors: null,
    udp6RcvbufErrors: 0,
    udp6InErrors: 0,
    interfaceRxDropped: 3,
    interfaceRxErrors: 0,
    interfaceTxDropped: 0,
    interfaceTxErrors: 0,
    softnetDropped: 0,
    linkChanges: null,
  }),
} as unknown as ConstructorParameters<typeof IntervalMerge>[1];

/** One thing that befalls a listening thread. */
const event = fc.oneof(
  {
    weight: 12,
    arbitrary: fc.record({
      kind: fc.constant("packets" as const),
      count: fc.integer({ min: 1, max: 300 }),
      skip: fc.integer({ min: 0, max: 40 }),
    }),
  },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant("late" as const), back: fc.integer({ min: 1, max: 6_000 }) }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant("sleep" as const), forNs: fc.integer({ min: 0, max: 8e9 }) }) },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant("step" as const), byNs: fc.integer({ min: -5e9, max: 5e9 }) }),
  },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant("drops" as const), count: fc.integer({ min: 0, max: 5_000 }) }),
  },
  { weight: 1, arbitrary: fc.constant({ kind: "leave" as const }) },
  { weight: 1, arbitrary: fc.constant({ kind: "join" as const }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant("restart" as const) }) },
  { weight: 3, arbitrary: fc.constant({ kind: "report" as const }) },
);
type Event = typeof event extends fc.Arbitrary<infer One> ? One : never;

/** A listening thread that is handed the events one after the other, and reports whenever it gets to it. */
class StarvedListener {
  readonly parts: IntervalPart[] = [];
  readonly #stream = new ListenedStream(STREAM, INTERVAL_NS, true);
  readonly #foreign = new ForeignRecord();
  readonly #packet = emptyTestPacket();
  #nowNs = 0;
  #stepNs = 0;
  #seq = 0;
  #senderId = 7;
  #index = 0;
  #cutNs = 0;

  take(one: Event): void {
    switch (one.kind) {
      case "packets":
        this.#seq += one.skip;
        for (let i = 0; i < one.count; i++) this.#packetOf(this.#seq++, 1e6);
        return;
      case "late":
        this.#packetOf(Math.max(0, this.#seq - one.back), 1e5);
        return;
      case "sleep":
        this.#nowNs += one.forNs;
        return;
      case "step":
        this.#stepNs += one.byNs;
        return;
      case "drops":
        this.#stream.noteHostDrops(one.count, this.#nowNs + this.#stepNs);
        return;
      case "leave":
        this.#stream.left(this.#nowNs);
        return;
      case "join":
        if (!this.#stream.isJoined) this.#stream.joined(this.#nowNs);
        return;
      case "restart":
        this.#senderId++;
        this.#seq = 0;
        return;
      case "report":
        while ((this.#index + 1) * INTERVAL_NS <= this.#nowNs) this.#report((this.#index + 1) * INTERVAL_NS, false);
    }
  }

  finish(): void {
    this.take({ kind: "report" });
    this.#stream.left(this.#nowNs);
    this.#report(Math.max(this.#nowNs, this.#cutNs), true);
  }

  #packetOf(seq: number, stepNs: number): void {
    this.#nowNs += stepNs;
    Object.assign(this.#packet, { seq, sentNs: this.#nowNs - 3e6, sizeBytes: 100, senderId: this.#senderId });
    this.#stream.take(this.#packet, this.#nowNs + this.#stepNs, 1, 0);
    this.#foreign.count("foreign", () => "192.0.2.1");
  }

  #report(toNs: number, isLast: boolean): void {
    const index = this.#index++;
    const shared = { streamId: 1, hostLostPackets: 0, socketStreams: 1, foreign: this.#foreign.report() };
    const parts = this.#stream.takeParts(index, toNs, isLast);
    const listeners =
      parts.length === 0
        ? [{ ...shared, receipt: null, memberships: [] }]
        : parts.map(({ receipt, membership }) => ({ ...shared, receipt, memberships: [membership] }));
    const total = { ...shared, receipt: this.#stream.total, memberships: [...this.#stream.allMemberships] };
    this.parts.push({
      index,
      fromNs: this.#cutNs,
      toNs,
      listeners,
      senders: [],
      wallClockSteps: 0,
      sourcesStopped: null,
      totals: isLast ? { listeners: [total], senders: [] } : null,
    });
    this.#cutNs = toNs;
  }
}

/** As the agent writes it and the controller reads it. @throws {Fault} where it does not fit */
function asRead(message: ReportMessage): ReportMessage {
  const value: unknown = JSON.parse(JSON.stringify(writtenReport(message)));
  return parseMessage(AgentMessageSchema, completeMessage(value), "The agent's message") as ReportMessage;
}

function messagesOf(reports: readonly IntervalReport[], shiftNs = 0): ReportMessage[] {
  return reports.map((report, i) => ({
    kind: "report",
    runId: "00000000000000aa",
    stint: "00000000000000bb",
    firstNumber: i + 1,
    lastNumber: i + 1,
    droppedReports: 0,
    report: shiftReport(report, shiftNs),
    watch: null,
    isFinal: report.totals !== null,
  }));
}

test("reports: given any starvation of a listening thread, then each report fits its schema and does not contradict itself, merged ones too", () => {
  fc.assert(
    fc.property(
      fc.array(event, { minLength: 5, maxLength: 60 }),
      fc.integer({ min: 0, max: 1e12 }),
      (events, shiftNs) => {
        const listener = new StarvedListener();
        listener.take({ kind: "join" });
        for (const one of events) listener.take(one);
        listener.finish();
        const merge = new IntervalMerge(["listener"], COUNTERS);
        const messages = messagesOf(
          listener.parts.flatMap((part) => merge.add("listener", part)),
          shiftNs,
        );
        expect(messages.at(-1)?.isFinal).toBe(true);
        let merged: ReportMessage | null = null;
        for (const message of messages) {
          expect(contradictionOf(asRead(message))).toBeNull();
          merged = merged === null ? message : (mergeReportMessages(merged, message, 600e9, false) ?? message);
          expect(contradictionOf(asRead(merged))).toBeNull();
        }
      },
    ),
    { numRuns: 150 },
  );
});

test("reports: given a source with any stalls, refusals and lateness, then its part fits the schema", () => {
  const spell = fc.record({
    packets: fc.integer({ min: 0, max: 500 }),
    lateNs: fc.double({ min: -1e6, max: 1e11, noNaN: true }),
    stalls: fc.integer({ min: 0, max: 50 }),
    skipped: fc.integer({ min: 0, max: 1e6 }),
    errorName: fc.constantFrom(null, "ENETUNREACH", "errno 4294967295", "ERR_SOCKET_DGRAM_NOT_RUNNING", "ENOBUFS"),
  });
  fc.assert(
    fc.property(fc.array(spell, { minLength: 1, maxLength: 20 }), (spells) => {
      const count = new SourceCount(1, 0xffffffff, new PacingRecord());
      let seq = 0;
      const reports = spells.map(({ packets, lateNs, stalls, skipped, errorName }, i): IntervalReport => {
        count.sent(seq, packets, packets * 100);
        for (let n = 0; n < packets; n++) count.pacing.record(lateNs);
        for (let n = 0; n < stalls; n++) count.stalled({ atNs: i * 1e9 + n, durationNs: Math.abs(lateNs) + n });
        if (errorName !== null) count.refused(errorName === "ENOBUFS" ? "enobufs" : "other", errorName);
        count.skippedPackets += skipped;
        seq += packets;
        const senders = [count.report()];
        count.clear();
        const totals = i === spells.length - 1 ? { listeners: [], senders } : null;
        const host = { ...COUNTERS.since(), wallClockSteps: null };
        return { fromNs: i * 1e9, toNs: (i + 1) * 1e9, listeners: [], senders, host, sourcesStopped: null, totals };
      });
      const messages = messagesOf(reports);
      let merged: ReportMessage | undefined;
      for (const message of messages) {
        expect(contradictionOf(asRead(message))).toBeNull();
        merged = merged === undefined ? message : (mergeReportMessages(merged, message, 600e9, false) ?? message);
        expect(contradictionOf(asRead(merged))).toBeNull();
      }
    }),
    { numRuns: 100 },
  );
});

test("reports: given threads of which one is starved or dies, then the joined reports fit the schema, and their times follow each other", () => {
  const partOf = (index: number, isLast: boolean): IntervalPart => ({
    index,
    fromNs: index * 1e9,
    toNs: isLast ? index * 1e9 : (index + 1) * 1e9,
    listeners: [],
    senders: [],
    wallClockSteps: null,
    sourcesStopped: null,
    totals: isLast ? { listeners: [], senders: [] } : null,
  });
  const step = fc.constantFrom("listener", "sender", "lose-listener", "lose-sender");
  fc.assert(
    fc.property(fc.array(step, { maxLength: 40 }), fc.integer({ min: 0, max: 6 }), (steps, most) => {
      const merge = new IntervalMerge(["listener", "sender"], COUNTERS);
      const next = new Map([
        ["listener", 0],
        ["sender", 0],
      ]);
      const reports = [
        ...steps,
        ...Array(2 * most + 2).fill("listener"),
        ...Array(2 * most + 2).fill("sender"),
      ].flatMap((one: string) => {
        const [role, isLost] = one.startsWith("lose-") ? [one.slice(5), true] : [one, false];
        const index = next.get(role) ?? 0;
        if (index > most) return [];
        next.set(role, isLost ? most + 1 : index + 1);
        return isLost ? merge.lose(role) : merge.add(role, partOf(index, index === most));
      });
      let beforeNs = 0;
      for (const message of messagesOf(reports)) {
        expect(contradictionOf(asRead(message))).toBeNull();
        expect(message.report.fromNs).toBe(beforeNs);
        beforeNs = message.report.toNs;
      }
      expect(reports.filter(({ totals }) => totals !== null)).toHaveLength(1);
    }),
    { numRuns: 200 },
  );
});

test("trouble: given an error whose words are longer than a message holds, then they are cut, and the message fits its schema", () => {
  const { code, message, hint } = asRefusal(new Error("x".repeat(10_000)));
  const value = { kind: "trouble", runId: "00000000000000aa", code, message, hint };
  expect(() => parseMessage(AgentMessageSchema, value, "The agent's message")).not.toThrow();
});

test("membership: given more messages in one interval than a report holds, from before the run too, then the list keeps to its bound", () => {
  const log = new MembershipLog();
  const message = {
    kind: "leave",
    family: 4,
    sourceMac: "02:00:5e:10:00:01",
    destinationMac: "01:00:5e:00:00:02",
    vlanId: null,
    source: "192.0.2.1",
    destination: "224.0.0.2",
    ttlHops: 1,
    hasRouterAlert: true,
    protocol: "igmp",
    version: 2,
    checksum: "good",
    group: "233.252.0.10",
  } as const;
  for (let i = 0; i < 3_000; i++) log.add(i, "in", message);
  log.begin(3_000);
  for (let i = 0; i < 3_000; i++) log.add(3_000 + i, "in", message);
  const { membership, unlistedMembership } = log.take(0);
  expect(membership.length).toBeLessThanOrEqual(1024);
  expect(membership.length + unlistedMembership).toBeGreaterThanOrEqual(3_000);
});
