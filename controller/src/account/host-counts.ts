import type { IntervalReport, ListenerInterval } from "@dyetrace/wire";

/** What one agent's host counted by itself over the run, whoever's traffic it was. Null is not known. */
export interface HostCounts extends Readonly<Record<HostCounter, number | null>> {
  /** Dropped by this agent's own sockets, and packets that came to them from elsewhere; null until it reported in full. */
  readonly ownSocketsDropped: number | null;
  readonly misdirected: number | null;
}

type HostCounter = keyof IntervalReport["host"];

export function hostCountsIn(reports: readonly IntervalReport[], final: IntervalReport | null): HostCounts {
  const listeners = final?.totals?.listeners ?? null;
  const over = (counter: HostCounter): number | null =>
    reports.length === 0 ? null : sumKnown(reports.map(({ host }) => host[counter]));
  return {
    udpRcvbufErrors: over("udpRcvbufErrors"),
    udpInErrors: over("udpInErrors"),
    udp6RcvbufErrors: over("udp6RcvbufErrors"),
    udp6InErrors: over("udp6InErrors"),
    interfaceRxDropped: over("interfaceRxDropped"),
    interfaceRxErrors: over("interfaceRxErrors"),
    interfaceTxDropped: over("interfaceTxDropped"),
    interfaceTxErrors: over("interfaceTxErrors"),
    softnetDropped: over("softnetDropped"),
    linkChanges: over("linkChanges"),
    wallClockSteps: over("wallClockSteps"),
    ownSocketsDropped: ofSockets(listeners, ({ hostLostPackets }) => hostLostPackets),
    misdirected: ofSockets(listeners, ({ foreign }) => foreign.misdirectedPackets),
  };
}

/** Streams of one socket all tell that socket's count, so each tells its share of it. */
function ofSockets(
  listeners: readonly ListenerInterval[] | null,
  countOf: (one: ListenerInterval) => number | null,
): number | null {
  if (listeners === null) return null;
  const shares = listeners.map((one) => {
    const count = countOf(one);
    return count === null ? null : count / one.socketStreams;
  });
  const all = sumKnown(shares);
  return all === null ? null : Math.round(all);
}

/** Unknown in part is unknown. */
const sumKnown = (counts: readonly (number | null)[]): number | null =>
  counts.reduce<number | null>((sum, count) => (sum === null || count === null ? null : sum + count), 0);
