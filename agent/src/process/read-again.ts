import { describeFault, Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AgentConfig } from "../config/agent-config.ts";
import { readAgentConfig } from "../config/read-agent-config.ts";

/** @returns what this host's file says by now; null where it cannot be read, and what held before holds on */
export function readAgain(before: AgentConfig, file: string | undefined, log: Logger): AgentConfig | null {
  try {
    const config = readAgentConfig(file);
    const isSame = (key: "interfaceName" | "controllers" | "announces"): boolean =>
      JSON.stringify(config[key]) === JSON.stringify(before[key]);
    if (!isSame("interfaceName")) log.warn("another interface in this host's file counts from the next start on");
    if (!isSame("controllers")) log.warn("other controllers in this host's file count from the next start on");
    if (!isSame("announces")) log.warn("whether this host announces itself is changed at the next start");
    log.info("this host's file was read again");
    return config;
  } catch (error) {
    if (!(error instanceof Fault)) throw error;
    for (const fault of [error, ...error.others]) log.error(describeFault(fault));
    log.error("this host's file was not taken: what it said before holds on");
    return null;
  }
}
