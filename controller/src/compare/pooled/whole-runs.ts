import type { RunReport } from "@dyetrace/wire";

/**
 * The later runs that say of every listener and bystander what the earlier run says of it; all of them where none does. An
 * agent that was not heard to the end, or could not watch, makes a sum over all runs unknown, however many there are. Pure.
 */
export function wholeRuns(before: RunReport, later: readonly RunReport[]): readonly RunReport[] {
  const whole = later.filter((report) => saysAsMuch(before, report));
  return whole.length > 0 ? whole : later;
}

function saysAsMuch(before: RunReport, { receipts, bystanders }: RunReport): boolean {
  const lost = new Map(receipts.map((one) => [`${one.stream} ${one.listener}`, one.lost]));
  const frames = new Map(bystanders.map((one) => [`${one.stream} ${one.agent}`, one.frames]));
  return (
    before.receipts.every((one) => one.lost === null || (lost.get(`${one.stream} ${one.listener}`) ?? null) !== null) &&
    before.bystanders.every((one) => one.frames === null || (frames.get(`${one.stream} ${one.agent}`) ?? null) !== null)
  );
}
