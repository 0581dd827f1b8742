import type { ListenerInterval, SenderInterval } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { IntervalPart } from "../workers/worker-protocol.ts";
import { HostCounters } from "./host-counters.ts";
import { IntervalMerge } from "./interval-merge.ts";

const sender = { streamId: 1 } as SenderInterval;
const listener = { streamId: 2 } as ListenerInterval;

const part = (index: number, changes: Partial<IntervalPart> = {}): IntervalPart => ({
  index,
  fromNs: index * 1e9,
  toNs: (index + 1) * 1e9,
  listeners: [],
  senders: [],
  wallClockSteps: null,
  sourcesStopped: null,
  totals: null,
  ...changes,
});

const counters = () => new HostCounters("no such interface", null);

test("IntervalMerge: given two threads, then a report is out when both have spoken, in order", () => {
  const merge = new IntervalMerge(["sender", "listener"], counters());
  expect(merge.add("sender", part(0, { senders: [sender] }))).toEqual([]);
  expect(merge.add("sender", part(1))).toEqual([]);
  const [first, ...more] = merge.add("listener", part(0, { listeners: [listener], wallClockSteps: 3 }));
  expect(more).toEqual([]);
  expect(first).toMatchObject({
    fromNs: 0,
    toNs: 1e9,
    senders: [sender],
    listeners: [listener],
    totals: null,
  });
  expect(first?.host.wallClockSteps).toBe(3);
  expect(first?.host.interfaceRxDropped).toBeNull(); // no such interface: unknown, not 0
});

test("IntervalMerge: given one thread that ends sooner, then totals come with the other's last report, and why the sources stopped stays", () => {
  const merge = new IntervalMerge(["sender", "listener"], counters());
  const stopped = { why: "aborted" as const, atNs: 5e8, detail: "" };
  merge.add("listener", part(0));
  const [first] = merge.add(
    "sender",
    part(0, { toNs: 5e8, sourcesStopped: stopped, totals: { senders: [sender], listeners: [] } }),
  );
  expect(first).toMatchObject({ sourcesStopped: stopped, totals: null });
  const [last] = merge.add("listener", part(1, { totals: { senders: [], listeners: [listener] } }));
  expect(last).toMatchObject({ fromNs: 1e9, sourcesStopped: stopped });
  expect(last?.totals).toEqual({ senders: [sender], listeners: [listener] });
});

test("IntervalMerge: given a thread that dies, then the other's reports go on to the end", () => {
  const merge = new IntervalMerge(["sender", "listener"], counters());
  merge.add("listener", part(0));
  expect(merge.lose("sender").map(({ toNs }) => toNs)).toEqual([1e9]);
  expect(merge.add("listener", part(1)).map(({ toNs }) => toNs)).toEqual([2e9]);
  const [last] = merge.add("listener", part(2, { totals: { senders: [], listeners: [listener] } }));
  expect(last?.totals).toEqual({ senders: [], listeners: [listener] });
});

test("IntervalMerge: given that all threads die, then one last report says that there is nothing", () => {
  const merge = new IntervalMerge(["sender"], counters());
  const [last] = merge.lose("sender");
  expect(last).toMatchObject({ fromNs: 0, senders: [], totals: { senders: [], listeners: [] } });
});
