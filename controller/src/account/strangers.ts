import type { IntervalReport, ListenerInterval } from "@dyetrace/wire";

/** Packets at a stream's group and port that were not its own; on a shared socket the socket's. */
export interface Strangers {
  readonly packets: number;
  /** The first few addresses that they came from. */
  readonly sources: readonly string[];
}

/** By stream id, added up over the reports; only of streams that had any. */
export function strangersIn(reports: readonly IntervalReport[]): ReadonlyMap<number, Strangers> {
  const strangers = new Map<number, Strangers>();
  for (const { listeners } of reports) {
    for (const part of listeners) {
      const packets = strangePackets(part);
      if (packets === 0 && part.foreign.sources.length === 0) continue;
      const before = strangers.get(part.streamId);
      strangers.set(part.streamId, {
        packets: (before?.packets ?? 0) + packets,
        sources: [...new Set([...(before?.sources ?? []), ...part.foreign.sources])],
      });
    }
  }
  return strangers;
}

export const strangePackets = ({ foreign }: ListenerInterval): number =>
  foreign.foreignPackets + foreign.malformedPackets + foreign.otherRunPackets + foreign.otherStreamPackets;
