import type { StreamTrial } from "../cover/stream-trials.ts";
import type { TimeSpan } from "../run/run-observations.ts";

/** Hosts that got the same streams. */
export interface ServedHosts {
  readonly hosts: readonly string[];
  readonly streams: readonly string[];
}

/** Streams that a host got, in the order of the trials: hosts that got the same stand at the same place. */
interface StreamsGot {
  readonly stream: string;
  readonly before: StreamsGot | null;
}

/** Hosts that got something of these trials in a time, by what each got. */
export function servedHosts(trials: readonly StreamTrial[], { startMs, endMs }: TimeSpan): ServedHosts[] {
  const hostOf = new Map<number, string>();
  const gotBy: (StreamsGot | undefined)[] = [];
  for (const trial of trials) {
    const { stream } = trial.facts.stream;
    const next = new Map<StreamsGot | null, StreamsGot>();
    for (const { good, bad, receipt } of trial.outcomes) {
      if (receipt === null || good === null || bad !== null) continue;
      if (receipt.listener.receivedPackets === 0 || good.endMs <= startMs || good.startMs >= endMs) continue;
      const before = gotBy[receipt.node] ?? null;
      if (before?.stream === stream) continue;
      if (before === null) hostOf.set(receipt.node, receipt.listener.host);
      const got = next.get(before) ?? { stream, before };
      next.set(before, got);
      gotBy[receipt.node] = got;
    }
  }
  const byStreams = new Map<StreamsGot | undefined, { readonly hosts: string[]; readonly streams: string[] }>();
  for (const [node, host] of hostOf) {
    const got = gotBy[node];
    const same = byStreams.get(got);
    if (same === undefined) byStreams.set(got, { hosts: [host], streams: streamsIn(got) });
    else same.hosts.push(host);
  }
  return [...byStreams.values()];
}

function streamsIn(got: StreamsGot | undefined): string[] {
  const streams: string[] = [];
  for (let at: StreamsGot | null = got ?? null; at !== null; at = at.before) streams.push(at.stream);
  return streams.reverse();
}
