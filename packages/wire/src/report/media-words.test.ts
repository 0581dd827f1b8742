import { expect, test } from "vitest";
import { mediaRows } from "./media-words.ts";
import type { ReportMedia } from "./report-media-schema.ts";
import type { RunReport } from "./report-schema.ts";

/** What the network lost to a listener. */
const receipts = (lost: Readonly<Record<string, number | null>>): RunReport["receipts"] =>
  Object.entries(lost).map(([listener, count]) => ({ stream: "lobby", listener, lost: count })) as never;

const media = (listener: string, parts: Partial<ReportMedia>): ReportMedia => ({
  stream: "lobby",
  listener,
  payloadType: 33,
  clockHz: 90_000,
  strayPackets: 0,
  seconds: 30,
  errorFreeSeconds: 30,
  transportStream: null,
  ...parts,
});

test("media rows: given listeners in any order, then the one with most seconds in error is first", () => {
  const rows = mediaRows({
    receipts: receipts({ "board-1": 0, "board-3": 1, "board-4": 83 }),
    media: [
      media("board-1", {}),
      media("board-2", { strayPackets: 4 }),
      media("board-3", { errorFreeSeconds: 28 }),
      media("board-4", { errorFreeSeconds: 12 }),
    ],
  });
  expect(rows.map(({ listener }) => listener)).toEqual(["board-4", "board-3", "board-2", "board-1"]);
  expect(rows.map(({ troubles }) => troubles)).toEqual(["83 packets lost", "1 packet lost", "4 stray numbers", "none"]);
});

test("media rows: given a stream of which no header could be read, then its troubles are unknown, and not none", () => {
  const unread = { strayPackets: null, seconds: null, errorFreeSeconds: null };
  const rows = mediaRows({
    receipts: receipts({ "board-1": null, "board-2": 0, "board-3": 58 }),
    media: [media("board-1", unread), media("board-2", unread), media("board-3", unread)],
  });
  expect(rows[0]).toMatchObject({ errorFree: null, troubles: "unknown", clock: null, tables: null });
  expect(rows.map(({ troubles }) => troubles)).toEqual(["unknown", "unknown", "58 packets lost, others unknown"]);
});
