import type { AgentMessage } from "@dyetrace/wire";

/** One report of an agent, as it goes to its controller. */
export type ReportMessage = Extract<AgentMessage, { kind: "report" }>;
