import type { Fault } from "@dyetrace/wire";
import type { AuditLog } from "./audit-log.ts";
import { NOBODY } from "./audit-log.ts";

/** Notes an agent that the door did not let in. Whose credential was shown stands there only where its secret was right. */
export function auditRefusedAgent(audit: Pick<AuditLog, "count" | "refuse">, fault: Fault, from: string): void {
  audit.count(fault.code === "CREDENTIAL_REPLACED" ? "replaced-credential-shown" : "agent-refused");
  const isProved = fault.code === "CREDENTIAL_REPLACED" || fault.code === "CREDENTIAL_EXPIRED";
  audit.refuse(NOBODY, from, isProved ? `was refused as an agent: ${fault.message}` : "was refused as an agent");
}
