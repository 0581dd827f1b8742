import type { IntervalReport, SenderInterval, SourceStop } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Store } from "../store/store.ts";
import { storedEvidence } from "./stored-evidence.ts";

const RUN = { runId: "0123456789abcdef", endNs: 6e9 } as CompiledRun;

function sender(streamId: number, sentPackets: number): SenderInterval {
  const sendErrors = { enobufs: 0, eagain: 0, other: 0 };
  const nothing = { firstSeq: null, lastSeq: null, lastError: null, skippedPackets: 0, pacing: null, stalls: [] };
  return { streamId, senderId: 7, sentPackets, sentBytes: sentPackets * 100, sendErrors, ...nothing };
}

/** What one second of a source says; the last of a piece of work sums it up. */
function second(at: number, senders: SenderInterval[], stop: SourceStop | null, totals: SenderInterval[] | null) {
  const sourcesStopped =
    stop === null ? null : { why: stop, atNs: at * 1e9 + 5e8, detail: "the controller was not heard" };
  const sums = totals === null ? null : { listeners: [], senders: totals };
  return { fromNs: at * 1e9, toNs: (at + 1) * 1e9, listeners: [], senders, sourcesStopped, totals: sums, host: {} };
}

async function evidenceOf(reports: readonly { stint: string; report: object }[]): Promise<RunEvidence> {
  const store = {
    reports: {
      ofAgent: async function* () {
        for (const { stint, report } of reports) yield { stint, report: report as IntervalReport, watch: null };
      },
    },
  } as unknown as Store;
  const silent = { agent: "tower", reports: [], watch: [], final: null, clock: null, lostAtNs: null, troubles: [] };
  const told = { agents: new Map([["tower", silent]]), isComplete: false, isAborted: false } as unknown as RunEvidence;
  return storedEvidence(store, RUN, told);
}

test("given a source that stopped by itself and was begun anew, then only streams sent twice lose their count, and the break is told", async () => {
  const evidence = await evidenceOf([
    { stint: "a", report: second(0, [sender(1, 100), sender(2, 50)], null, null) },
    { stint: "a", report: second(1, [sender(1, 40), sender(2, 0)], "hold-time", [sender(1, 140), sender(2, 50)]) },
    { stint: "b", report: second(4, [sender(1, 100)], null, null) },
    { stint: "b", report: second(5, [sender(1, 100)], "as-planned", [sender(1, 200)]) },
  ]);
  const tower = evidence.agents.get("tower");
  expect(tower?.sourceBreaks).toEqual([
    { stoppedNs: 1.5e9, why: "the controller was not heard", heardNs: 2e9, againNs: 4e9 },
  ]);
  const streamIds = tower?.reports.flatMap(({ senders }) => senders.map(({ streamId }) => streamId));
  expect(streamIds).toEqual([2, 2]);
  expect(tower?.final?.totals?.senders.map(({ streamId, sentPackets }) => [streamId, sentPackets])).toEqual([[2, 50]]);
});

test("given a source that an agent's restart did not touch any more, then its count stands", async () => {
  const evidence = await evidenceOf([
    { stint: "a", report: second(0, [sender(1, 100)], null, null) },
    { stint: "a", report: second(1, [sender(1, 20)], "as-planned", [sender(1, 120)]) },
    { stint: "b", report: second(5, [], "as-planned", []) },
  ]);
  const tower = evidence.agents.get("tower");
  expect(tower?.sourceBreaks).toEqual([]);
  expect(tower?.final?.totals?.senders.map(({ sentPackets }) => sentPackets)).toEqual([120]);
});
