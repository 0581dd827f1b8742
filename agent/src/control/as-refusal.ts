import { Fault, type FaultCode, withoutControls } from "@dyetrace/wire";

/** As long as a message may be: longer words would have the whole message turned away, and the agent with it. */
const MOST_CHARACTERS = 2000;

/** What a message to the controller says of an error; one that is no `Fault` is a mistake of ours. */
export function asRefusal(error: unknown): {
  readonly code: FaultCode;
  readonly message: string;
  readonly hint: string;
} {
  if (error instanceof Fault) return { code: error.code, message: plain(error.message), hint: plain(error.hint) };
  return { code: "INTERNAL", message: plain(`The agent failed: ${String(error)}`), hint: "Please report this" };
}

const plain = (text: string): string => withoutControls(text).slice(0, MOST_CHARACTERS);
