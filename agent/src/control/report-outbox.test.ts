import type { IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { ReportOutbox } from "./report-outbox.ts";

const RUN = "00000000000000aa";
const report = { index: 0 } as IntervalReport;

test("ReportOutbox: given reports of one run, then they are numbered from 1 and wait in order", () => {
  const outbox = new ReportOutbox();
  outbox.add(RUN, report, null, false);
  outbox.add(RUN, report, null, false);
  outbox.add(RUN, report, null, true);
  expect(outbox.waiting().map((message) => [message.number, message.isFinal])).toEqual([
    [1, false],
    [2, false],
    [3, true],
  ]);
});

test("ReportOutbox: given an acknowledgement, then that report and no other is let go, also when it comes twice", () => {
  const outbox = new ReportOutbox();
  for (let i = 0; i < 3; i++) outbox.add(RUN, report, null, false);
  outbox.acknowledge(RUN, 2);
  outbox.acknowledge(RUN, 2);
  outbox.acknowledge("00000000000000bb", 1);
  expect(outbox.waiting().map((message) => message.number)).toEqual([1, 3]);
});
