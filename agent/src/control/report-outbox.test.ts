import type { IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { ReportOutbox } from "./report-outbox.ts";

const RUN = "00000000000000aa";
const STINT = "00000000000000cc";
const report = { index: 0 } as IntervalReport;

test("ReportOutbox: given reports of one stint, then they are numbered from 1 and wait in order", () => {
  const outbox = new ReportOutbox();
  outbox.add(RUN, STINT, report, null, false);
  outbox.add(RUN, STINT, report, null, false);
  outbox.add(RUN, STINT, report, null, true);
  expect(outbox.waiting().map((message) => [message.lastNumber, message.isFinal])).toEqual([
    [1, false],
    [2, false],
    [3, true],
  ]);
});

test("ReportOutbox: given an acknowledgement, then all up to that number are let go, also when it comes twice", () => {
  const outbox = new ReportOutbox();
  for (let i = 0; i < 3; i++) outbox.add(RUN, STINT, report, null, false);
  outbox.acknowledge(STINT, 2);
  outbox.acknowledge(STINT, 2);
  outbox.acknowledge("00000000000000bb", 3);
  expect(outbox.waiting().map((message) => message.lastNumber)).toEqual([3]);
});
