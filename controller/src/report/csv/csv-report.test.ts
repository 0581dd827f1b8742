import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { csvOfGaps, csvOfIncidents } from "./csv-report.ts";

const linesOf = (stream: string, startMs: number | null): string => {
  const gaps = [{ firstSeq: 7, count: 2, startMs, durationMs: null }];
  const receipts = [{ stream, listener: "kiosk", gaps }];
  const csv = csvOfGaps({ startedAt: "2026-11-29T00:00:00.000Z", receipts } as unknown as RunReport);
  const head = "stream,listener,first_seq,count,start_ms,duration_ms,started_at\r\n";
  expect(csv.startsWith(head)).toBe(true);
  return csv.slice(head.length);
};

test.each([
  { what: "a plain text", stream: "board", field: "board" },
  // RFC 4180, section 2, rules 5 to 7.
  { what: "a comma", stream: "a,b", field: '"a,b"' },
  { what: "a quote", stream: 'a"b', field: '"a""b"' },
  { what: "a line's end", stream: "a\r\nb", field: '"a\r\nb"' },
  { what: "half a line's end", stream: "a\nb", field: '"a\nb"' },
  // Common practice, no source: what spreadsheets take for a formula.
  { what: "a formula", stream: "=1+1", field: "'=1+1" },
  { what: "a formula after a sign", stream: "@x,y", field: '"\'@x,y"' },
])(
  "CSV: given $what as a stream's name, then the field is as RFC 4180 has it, and no spreadsheet takes it for a formula",
  ({ stream, field }) => {
    expect(linesOf(stream, 1500)).toBe(`${field},kiosk,7,2,1500,,2026-11-29T00:00:01.500Z\r\n`);
  },
);

test("CSV: given a gap before the start, and one whose time is unknown, then a negative number, and an empty field", () => {
  expect(linesOf("board", -5)).toBe("board,kiosk,7,2,-5,,2026-11-28T23:59:59.995Z\r\n");
  expect(linesOf("board", null)).toBe("board,kiosk,7,2,,,\r\n");
});

test("CSV: given incidents, then a line each with times, place and words; one without a place has empty fields, never 0", () => {
  const incident = { kind: "loss", fromMs: 1500, toMs: 2500, streams: ["board"], agents: ["kiosk", "stand"], count: 9 };
  const incidents = [
    { ...incident, suspects: ["core:1>pier:24", "pier"], confidence: 0.96, title: "board lost 9 packets, at two" },
    { ...incident, suspects: [], title: "nobody knows where" },
  ];
  const csv = csvOfIncidents({ startedAt: "2026-11-29T00:00:00.000Z", incidents } as unknown as RunReport);
  expect(csv.split("\r\n")).toEqual([
    "from,to,kind,streams,agents,packets,suspects,confidence,what,name,length_s,without_stream_s,steady,times",
    '2026-11-29T00:00:01.500Z,2026-11-29T00:00:02.500Z,loss,board,kiosk stand,9,core:1>pier:24 pier,0.96,"board lost 9 packets, at two",loss: core:1>pier:24,1,,no,1',
    '2026-11-29T00:00:01.500Z,2026-11-29T00:00:02.500Z,loss,board,kiosk stand,9,,,nobody knows where,"loss: kiosk, stand",1,,no,1',
    "",
  ]);
});
