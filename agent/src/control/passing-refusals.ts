import type { FaultCode } from "@dyetrace/wire";

/**
 * Refusals that time may cure, so the agent tries again. That a credential is over is said by the controller's clock: one that was
 * put forward for an hour must not leave every host without its agent until somebody has been there.
 */
export const PASSING: ReadonlySet<FaultCode> = new Set([
  "NAME_TAKEN",
  "PROTOCOL_MISMATCH",
  "TOO_MANY",
  "MESSAGE_INVALID",
  "CREDENTIAL_EXPIRED",
]);
