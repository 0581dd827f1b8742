import type { ReportHost } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";

/** What each agent's host counted during the run. */
export const reportHosts = ({ agents }: RunAccount): ReportHost[] =>
  [...agents.values()].map(({ agent, host }) => ({
    agent,
    ownSocketsDropped: host.ownSocketsDropped,
    udpBufferDropped: host.udpRcvbufErrors,
    udpReceiveErrors: host.udpInErrors,
    udp6BufferDropped: host.udp6RcvbufErrors,
    udp6ReceiveErrors: host.udp6InErrors,
    cardReceiveDropped: host.interfaceRxDropped,
    cardReceiveErrors: host.interfaceRxErrors,
    cardSendDropped: host.interfaceTxDropped,
    cardSendErrors: host.interfaceTxErrors,
    backlogDropped: host.softnetDropped,
    linkChanges: host.linkChanges,
    clockSteps: host.wallClockSteps,
    misdirected: host.misdirected,
  }));
