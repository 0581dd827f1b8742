import { mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { SeqRange } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { LossScope } from "./stream-loss.ts";

/**
 * What is left of a stream for loss rates once its stops are taken out: a listener that heard nothing more counts up to
 * then; a stretch in which one was silent but heard again later counts for nobody.
 * @param outages numbers of outages that were explained otherwise
 */
export function lossScope(facts: StreamFacts, trials: readonly StreamTrial[], outages: readonly SeqRange[]): LossScope {
  const stoppedFrom = new Map<number, number>();
  const excluded: SeqRange[] = [...outages];
  for (const trial of trials) {
    if (trial.facts !== facts) continue;
    for (const { leaf, silentFromSeq: seq, receipt } of trial.outcomes) {
      if (seq === null || receipt === null) continue;
      const silence = receipt.lost.at(-1);
      const isFinal = silence !== undefined && silence[1] >= receipt.window[1] && silence[0] <= seq;
      if (isFinal) stoppedFrom.set(leaf, Math.min(seq, stoppedFrom.get(leaf) ?? seq));
      else excluded.push(trial.numbers);
    }
  }
  for (const { listener } of facts.receipts) excluded.push(...(listener.hostLost ?? []), ...(listener.unknown ?? []));
  return { numbers: null, excluded: mergeSequenceRanges(excluded), stoppedFrom };
}

/** Whether some listener lost anything that the scope leaves: else no rate can be over 0. */
export const isAnyLostIn = ({ receipts }: StreamFacts, { excluded, stoppedFrom }: LossScope): boolean =>
  receipts.some(({ node, lost }) => {
    const first = subtractRanges(lost, excluded)[0]?.[0];
    return first !== undefined && first < (stoppedFrom.get(node) ?? Number.POSITIVE_INFINITY);
  });
