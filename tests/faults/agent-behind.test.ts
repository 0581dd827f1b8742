import { openDataPlane } from "@dyetrace/agent";
import { DEFAULT_GUARDS, type IntervalReport } from "@dyetrace/wire";
import { expect, test } from "vitest";

test("given an idle bystander that slept for more than an hour, then it tells every interval, and its program goes on", async () => {
  const plane = await openDataPlane({
    interfaceName: "lo",
    guards: DEFAULT_GUARDS,
    contact: "",
    drawSenderId: () => 1,
    sockets: "portable",
  });
  try {
    const reports: IntervalReport[] = [];
    plane.onInterval((report) => reports.push(report));
    const seconds = 4000;
    const task = { runId: "00000000000000aa", streams: [], actions: [], intervalNs: 1e9, holdNs: 5e9 };
    await plane.prepare({ ...task, endNs: seconds * 1e9 });
    plane.go(Number(process.hrtime.bigint()) - (seconds + 1) * 1e9);
    const last = await plane.finish();
    expect(reports.map(({ toNs }) => toNs / 1e9)).toEqual(Array.from({ length: seconds }, (_, i) => i + 1));
    expect(last.totals).toEqual({ listeners: [], senders: [] });
  } finally {
    await plane.close();
  }
});
