import type { StoredReport } from "../../controller/src/store/report-records.ts";
import type { Store } from "../../controller/src/store/store.ts";

/** What a store has of a run, counted here anew from single reports: by no line of the programs' own accounts. */
export interface StintNumbers {
  readonly agent: string;
  readonly stint: string;
  readonly fromNs: number;
  readonly toNs: number;
  readonly isFinal: boolean;
  /** What is wrong with its reports: missing, twice, or with time between them that none tells of. */
  readonly mistakes: readonly string[];
  /** By stream. */
  readonly sent: ReadonlyMap<number, { readonly senderId: number; readonly packets: number; readonly endSeq: number }>;
  readonly heard: ReadonlyMap<number, Heard>;
}

export interface Heard {
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number;
  /** Of one sender each, from the first number to after the last. */
  readonly spans: readonly { readonly senderId: number; readonly firstSeq: number; readonly endSeq: number }[];
}

export async function storedNumbers(store: Store, runId: string): Promise<readonly StintNumbers[]> {
  const told: StintNumbers[] = [];
  const stints = await store.reports.stints(runId);
  for (const agent of new Set(stints.map((one) => one.agent))) {
    const rows: StoredReport[] = [];
    for await (const row of store.reports.ofAgent(runId, agent)) rows.push(row);
    for (const { stint, fromNs, toNs, isFinal, droppedReports } of stints.filter((one) => one.agent === agent)) {
      const own = rows.filter((row) => row.stint === stint);
      const mistakes = droppedReports === 0 ? [] : [`${droppedReports} reports were dropped`];
      let [next, atNs] = [1, own[0]?.fromNs ?? 0];
      const sent = new Map<number, { senderId: number; packets: number; endSeq: number }>();
      const heard = new Map<number, Heard>();
      for (const { firstNumber, lastNumber, report } of own) {
        if (firstNumber !== next) mistakes.push(`report ${firstNumber} follows ${next - 1}`);
        if (Math.abs(report.fromNs - atNs) > 1e6)
          mistakes.push(`report ${firstNumber} begins ${report.fromNs - atNs} ns off`);
        [next, atNs] = [lastNumber + 1, report.toNs];
        for (const { streamId, senderId, sentPackets, lastSeq } of report.senders) {
          const before = sent.get(streamId);
          if (sentPackets === 0) continue;
          sent.set(streamId, { senderId, packets: (before?.packets ?? 0) + sentPackets, endSeq: (lastSeq ?? 0) + 1 });
        }
        for (const { streamId, receipt } of report.listeners) {
          if (receipt === null) continue;
          const before = heard.get(streamId);
          heard.set(streamId, {
            received: (before?.received ?? 0) + receipt.firstCopies,
            lost: (before?.lost ?? 0) + receipt.lost,
            hostLost: (before?.hostLost ?? 0) + (receipt.hostLost ?? 0),
            spans: joined(before?.spans ?? [], receipt.spans),
          });
        }
      }
      told.push({ agent, stint, fromNs, toNs, isFinal, mistakes, sent, heard });
    }
  }
  return told;
}

/** Spans that go on where another ends are one. */
function joined(
  before: Heard["spans"],
  more: readonly { senderId: number | null; firstSeq: number; endSeq: number }[],
): Heard["spans"] {
  const spans = [...before];
  for (const { senderId, firstSeq, endSeq } of more) {
    if (senderId === null || endSeq === firstSeq) continue;
    const at = spans.findIndex((one) => one.senderId === senderId && one.endSeq === firstSeq);
    const one = spans[at];
    if (one === undefined) spans.push({ senderId, firstSeq, endSeq });
    else spans[at] = { ...one, endSeq };
  }
  return spans;
}
