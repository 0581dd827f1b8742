import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { isWithin, packetNs } from "./silences.ts";

/**
 * Time that streams did not come, added up over streams and listeners, ns: packets by the time that each is worth; a silence of
 * which no number is known by its length. Pure.
 * @param losses episodes of listeners; one with another's numbers within it counts once
 */
export function lostTimeNs(losses: readonly Episode[], run: CompiledRun): number {
  const streams = new Map(run.streams.map((stream) => [stream.streamId, stream]));
  const told = losses.filter(({ count }) => count > 0);
  return losses.reduce((sum, one) => {
    const stream = one.streamId === null ? undefined : streams.get(one.streamId);
    if (stream === undefined) return sum;
    if (one.count > 0) return sum + one.count * packetNs(stream);
    return told.some((other) => isWithin(other, one)) ? sum : sum + one.toNs - one.fromNs;
  }, 0);
}
