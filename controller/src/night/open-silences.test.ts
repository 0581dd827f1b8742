import type { IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Store } from "../store/store.ts";
import { openSilences } from "./open-silences.ts";

/** 100 packets/s from 1 s on, for 10 minutes, with reports of a second. */
const END_S = 601;
const STREAM = { name: "board", streamId: 1, source: "tower", rateBps: 80_000, payloadBytes: 100, burstPackets: 1 };
const join = (agent: string) => ({ stream: "board", agent, fromNs: 0, toNs: null });
const RUN = {
  runId: "0123456789abcdef",
  endNs: END_S * 1e9,
  streams: [STREAM],
  joins: ["kiosk", "hall", "desk"].map(join),
  scenario: {
    durationNs: END_S * 1e9,
    timeline: [
      { kind: "emit", stream: "board", atNs: 1e9 },
      { kind: "stop", stream: "board", atNs: END_S * 1e9 },
    ],
  },
} as unknown as CompiledRun;

/** @param lastS after which nothing came; null: nothing ever did */
function listened(lastS: number | null, untilS = END_S) {
  return Array.from({ length: untilS }, (_, second) => {
    const firstCopies = lastS !== null && second >= 1 && second < lastS ? 100 : 0;
    const receipt = { firstCopies, lost: 0, lastArrivalNs: firstCopies > 0 ? (second + 1) * 1e9 - 1e6 : null };
    return { fromNs: second * 1e9, toNs: (second + 1) * 1e9, listeners: [{ streamId: 1, receipt }], senders: [] };
  });
}

/** @param untilS when the source stopped by itself */
const sent = (untilS: number) =>
  Array.from({ length: END_S }, (_, second) => ({
    ...{ fromNs: second * 1e9, toNs: (second + 1) * 1e9, listeners: [], sourcesStopped: null },
    senders: [{ streamId: 1, sentPackets: second >= 1 && second < untilS ? 100 : 0 }],
  }));

async function silencesOf(reports: Readonly<Record<string, readonly object[]>>, untilS = END_S) {
  const asked: string[] = [];
  const store = {
    reports: {
      ofAgent: async function* (_run: string, agent: string, sinceNs = 0) {
        asked.push(agent);
        for (const report of (reports[agent] ?? []) as readonly IntervalReport[]) {
          if (report.toNs >= sinceNs) yield { report };
        }
      },
    },
  } as unknown as Store;
  const minutes = Object.entries(reports).flatMap(([agent, own]) => {
    const sums = new Map<number, number>();
    for (const { fromNs, listeners } of own as readonly IntervalReport[]) {
      const minute = Math.floor(fromNs / 60e9);
      for (const { receipt } of listeners) sums.set(minute, (sums.get(minute) ?? 0) + (receipt?.firstCopies ?? 0));
    }
    return [...sums].map(([minute, received]) => ({ agent, streamId: 1, minute, received, lost: 0, hostLost: 0 }));
  });
  const found = await openSilences(store, RUN, minutes, untilS * 1e9);
  return { found: found.map(({ agent, fromNs, toNs, count }) => ({ agent, fromNs, toNs, count })), asked };
}

test("given listeners that got all to the end, then there is none, and no report of theirs is read", async () => {
  const all = { kiosk: listened(END_S), hall: listened(END_S), desk: listened(END_S), tower: sent(END_S) };
  expect(await silencesOf(all)).toEqual({ found: [], asked: [] });
});

test("given one that never got anything and one that fell silent for good, then each is a loss from then to the end", async () => {
  const { found } = await silencesOf({
    kiosk: listened(null),
    hall: listened(END_S),
    desk: listened(432),
    tower: sent(END_S),
  });
  expect(found).toEqual([
    { agent: "kiosk", fromNs: 1e9, toNs: END_S * 1e9, count: 59_999 },
    { agent: "desk", fromNs: 432e9 - 1e6, toNs: END_S * 1e9, count: 16_900 },
  ]);
});

test("given a source that stopped, or a listener whose agent ended, then only what was sent and watched is a silence", async () => {
  const stopped = await silencesOf({
    kiosk: listened(300),
    hall: listened(300),
    desk: listened(300),
    tower: sent(300),
  });
  expect(stopped.found).toEqual([]);
  const away = { kiosk: listened(300, 301), hall: listened(END_S), desk: listened(300, 420), tower: sent(END_S) };
  const { found } = await silencesOf(away);
  expect(found.map(({ agent, fromNs, toNs }) => [agent, Math.round(fromNs / 1e9), toNs / 1e9])).toEqual([
    ["desk", 300, 420],
  ]);
});

test("given a run that is under way, then a silence lasts up to what is known", async () => {
  const far = { kiosk: listened(100, 200), hall: listened(200, 200), desk: listened(200, 200), tower: sent(200) };
  const { found } = await silencesOf(far, 200);
  expect(found.map(({ agent, toNs }) => [agent, toNs / 1e9])).toEqual([["kiosk", 200]]);
});
