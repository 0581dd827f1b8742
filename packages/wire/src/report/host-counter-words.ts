import type { ReportHost } from "./report-host-schema.ts";

export type HostCounter = Exclude<keyof ReportHost, "agent">;

/** Counters of a host in a few words, in the order in which they are shown. */
export const HOST_COUNTER_WORDS: Readonly<Record<HostCounter, string>> = {
  ownSocketsDropped: "dropped by the agent's own sockets",
  udpBufferDropped: "UDP dropped, no buffer left",
  udpReceiveErrors: "UDP receive errors",
  udp6BufferDropped: "UDP over IPv6 dropped, no buffer left",
  udp6ReceiveErrors: "UDP over IPv6 receive errors",
  backlogDropped: "dropped, processor queue full",
  cardReceiveDropped: "network card: dropped coming in",
  cardReceiveErrors: "network card: errors coming in",
  cardSendDropped: "network card: dropped going out",
  cardSendErrors: "network card: errors going out",
  linkChanges: "link went up or down",
  clockSteps: "clock was set",
  misdirected: "came for another group or interface",
};

/** @returns counters of one host that moved, with their words; one that is not known is none of them */
export const movedCounters = (host: ReportHost): readonly (readonly [words: string, count: number])[] =>
  (Object.keys(HOST_COUNTER_WORDS) as HostCounter[]).flatMap((name) => {
    const count = host[name] ?? 0;
    return count > 0 ? [[HOST_COUNTER_WORDS[name], count] as const] : [];
  });
