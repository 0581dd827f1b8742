import { Fault, type FaultCode } from "@dyetrace/wire";

/** What a message to the controller says of an error; one that is no `Fault` is a mistake of ours. */
export function asRefusal(error: unknown): {
  readonly code: FaultCode;
  readonly message: string;
  readonly hint: string;
} {
  if (error instanceof Fault) return { code: error.code, message: error.message, hint: error.hint };
  return { code: "INTERNAL", message: `The agent failed: ${String(error)}`, hint: "Please report this" };
}
