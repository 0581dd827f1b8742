import { expect, test } from "vitest";
import { mediaRows } from "./media-words.ts";
import type { ReportMedia } from "./report-media-schema.ts";

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
    media: [
      media("board-1", {}),
      media("board-2", { strayPackets: 4 }),
      media("board-3", { errorFreeSeconds: 28 }),
      media("board-4", { errorFreeSeconds: 12 }),
    ],
  });
  expect(rows.map(({ listener }) => listener)).toEqual(["board-4", "board-3", "board-2", "board-1"]);
  expect(rows.map(({ troubles }) => troubles)).toEqual(["none", "none", "4 stray numbers", "none"]);
});

test("media rows: given a stream of which no header could be read, then its troubles are unknown, and not none", () => {
  const [row] = mediaRows({
    media: [media("board-1", { strayPackets: null, seconds: null, errorFreeSeconds: null })],
  });
  expect(row).toMatchObject({ errorFree: null, troubles: "unknown", clock: null, tables: null });
});
