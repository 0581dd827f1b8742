import type { IntervalReport, ListenerInterval } from "@dyetrace/wire";

/** Of a host that counts nothing. */
export const NO_HOST_COUNTERS: IntervalReport["host"] = {
  udpRcvbufErrors: null,
  udpInErrors: null,
  udp6RcvbufErrors: null,
  udp6InErrors: null,
  interfaceRxDropped: null,
  interfaceRxErrors: null,
  interfaceTxDropped: null,
  interfaceTxErrors: null,
  softnetDropped: null,
  linkChanges: null,
  wallClockSteps: null,
};

/** Of a listener to which nothing else came. */
export const NOTHING_FOREIGN: ListenerInterval["foreign"] = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};
