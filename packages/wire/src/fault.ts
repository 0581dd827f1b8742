/**
 * Every failure that a user can meet has a code here, and its cause and mending in deploy/error-codes.md. Tests and the
 * console match on the code, never on the text.
 */
export const FAULT_CODES = [
  "FILE_UNREADABLE",
  "AGENT_CONFIG_INVALID",
  "CAPTURE_INVALID",
  "SITE_PLAN_INVALID",
  "PLAN_CHANGED",
  "SCENARIO_INVALID",
  "PRACTICE_FAULT_INVALID",
  "UNIT_INVALID",
  "ADDRESS_INVALID",
  "MESSAGE_INVALID",
  "OPTION_INVALID",
  "PROTOCOL_MISMATCH",
  "NOT_AUTHORISED",
  "CREDENTIAL_EXPIRED",
  "CREDENTIAL_REPLACED",
  "NOT_SIGNED_IN",
  "NOT_ALLOWED",
  "TOO_MANY",
  "ACCESS_INVALID",
  "CERTIFICATE_INVALID",
  "CERTIFICATE_STRANGE",
  "UPGRADE_REFUSED",
  "LOAD_UNCONFIRMED",
  "LOAD_BEYOND_LINK",
  "NAME_TAKEN",
  "AGENT_MISSING",
  "AGENT_LOST",
  "AGENT_CANNOT",
  "GUARD_REFUSED",
  "RUN_BUSY",
  "RUN_CANCELLED",
  "RUN_MISSED",
  "RUN_UNKNOWN",
  "RUN_UNFINISHED",
  "RUN_NAMED",
  "RUN_ELSEWHERE",
  "BASELINE_UNKNOWN",
  "COMPARE_REFUSED",
  "INVENTORY_UNKNOWN",
  "DEVICE_UNKNOWN",
  "STORE_MISSING",
  "STORE_UNREACHABLE",
  "STORE_BUSY",
  "STORE_FULL",
  "STORE_READ_ONLY",
  "STORE_CORRUPT",
  "STORE_TOO_NEW",
  "CONTROLLER_UNREACHABLE",
  "PORT_TAKEN",
  "GROUP_IN_USE",
  "GROUP_UNFIT",
  "JOIN_REFUSED",
  "SEND_REFUSED",
  "SOCKET_REFUSED",
  "INTERFACE_UNKNOWN",
  "NEEDS_LINUX",
  "NEEDS_TOOL",
  "NEEDS_PRIVILEGE",
  "PRACTICE_FAILED",
  "PRACTICE_NOT_FOUND",
  "NODE_UNKNOWN",
  "INTERNAL",
] as const;
export type FaultCode = (typeof FAULT_CODES)[number];

/** The code that another program of ours gave; one that this version does not know is INTERNAL, and its sentence stays. */
export const faultCodeOf = (code: unknown): FaultCode => FAULT_CODES.find((known) => known === code) ?? "INTERNAL";

/** Where in a file a mistake stands. Lines and columns count from 1. */
export interface FilePlace {
  readonly file: string;
  readonly line: number;
  readonly column: number;
}

/**
 * A failure that the user can understand and mend: the message says what was tried and what was met, the hint what to
 * do next. A bug of our own is a plain `Error`; a bad packet is no error at all, it is counted.
 */
export class Fault extends Error {
  override readonly name = "Fault";
  readonly code: FaultCode;
  readonly hint: string;
  /** Set when the failure is a mistake in a file. */
  readonly place: FilePlace | undefined;
  /** Further mistakes in the same file, in file order. */
  readonly others: readonly Fault[];

  constructor(
    code: FaultCode,
    message: string,
    hint: string,
    options?: ErrorOptions & {
      readonly place?: FilePlace;
      readonly others?: readonly Fault[];
    },
  ) {
    super(message, options);
    this.code = code;
    this.hint = hint;
    this.place = options?.place;
    this.others = options?.others ?? [];
  }
}

/** One line for a terminal: `plan.yaml:7:3: no node is called "hal". Did you mean "hall"? [SITE_PLAN_INVALID]` */
export function describeFault(fault: Fault): string {
  const where = fault.place === undefined ? "" : `${fault.place.file}:${fault.place.line}:${fault.place.column}: `;
  const hint = fault.hint === "" ? "" : `. ${fault.hint}`;
  return `${where}${fault.message}${hint} [${fault.code}]`;
}
