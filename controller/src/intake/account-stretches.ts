import { mergeReceipts, type StreamReceipt } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, ReportStretch, SenderInterval } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Store } from "../store/store.ts";

/**
 * Everything that was counted, for each uninterrupted piece of each agent's work: to the packet, whoever was killed in
 * between. Nothing is estimated; what a killed agent had counted since its last report is not in it. Of a stream of others an
 * agent by itself counts what came, and no loss.
 */
export async function accountStretches(store: Store, run: CompiledRun): Promise<readonly ReportStretch[]> {
  const names = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const stints = await store.reports.stints(run.runId);
  const stretches: ReportStretch[] = [];
  for (const agent of new Set(stints.map((stint) => stint.agent))) {
    const tallies = new Map<string, StintTally>();
    for await (const { stint, report, firstNumber, lastNumber } of store.reports.ofAgent(run.runId, agent)) {
      const tally = tallies.get(stint) ?? new StintTally();
      tallies.set(stint, tally);
      tally.add(report, lastNumber - firstNumber + 1);
    }
    for (const { stint, fromNs, toNs, isFinal, keptNumber } of stints.filter((one) => one.agent === agent)) {
      const tally = tallies.get(stint);
      const isWhole = isFinal && tally?.reports === keptNumber;
      const base = { agent, fromMs: fromNs / 1e6, toMs: toNs / 1e6, isWhole };
      for (const [streamId, sent] of tally?.sent ?? []) {
        const stream = names.get(streamId);
        if (stream === undefined) continue;
        stretches.push({
          stream,
          ...base,
          role: "source",
          sent,
          judged: null,
          received: null,
          lost: null,
          hostLost: null,
        });
      }
      for (const [streamId, receipt] of tally?.receipts ?? []) {
        const stream = names.get(streamId);
        if (stream === undefined) continue;
        if (tally?.followed.has(streamId)) {
          const unknown = { judged: null, lost: null, hostLost: null };
          stretches.push({ stream, ...base, role: "listener", sent: null, received: receipt.received, ...unknown });
          continue;
        }
        const judged = receipt.spans.reduce((sum, span) => sum + span.endSeq - span.firstSeq, 0);
        const { lost, hostLost, firstCopies: received } = receipt;
        // With spans left out for want of room the sum of their sizes is too small; the counts never are.
        const known = receipt.spansOmitted === 0 ? judged : received + lost;
        stretches.push({ stream, ...base, role: "listener", sent: null, judged: known, received, lost, hostLost });
      }
    }
  }
  return stretches;
}

class StintTally {
  readonly sent = new Map<number, number>();
  readonly receipts = new Map<number, StreamReceipt>();
  /** Streams of others. */
  readonly followed = new Set<number>();
  /** Numbered from 1 on without a hole, unless some are missing. */
  reports = 0;

  add({ senders, listeners }: IntervalReport, reports: number): void {
    this.reports += reports;
    for (const { streamId, sentPackets } of senders as readonly SenderInterval[]) {
      this.sent.set(streamId, (this.sent.get(streamId) ?? 0) + sentPackets);
    }
    for (const { streamId, receipt, followed, watched } of listeners as readonly ListenerInterval[]) {
      if (receipt === null || watched?.isMember === false) continue;
      if (followed !== undefined) this.followed.add(streamId);
      const before = this.receipts.get(streamId);
      this.receipts.set(streamId, before === undefined ? receipt : mergeReceipts(before, receipt));
    }
  }
}
