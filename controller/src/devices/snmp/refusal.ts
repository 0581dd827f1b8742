/** error-status of RFC 3416, section 3, with which a device answers a question that it does not answer. */
const TOO_BIG = 1;
const GEN_ERR = 5;
const RESOURCE_UNAVAILABLE = 13;
const NAMES: ReadonlyMap<number, string> = new Map([
  [2, "noSuchName"],
  [6, "noAccess"],
  [16, "authorizationError"],
]);

export interface Refusal {
  /** What it did, as the end of a sentence. */
  readonly words: string;
  /** Whether it may answer the same question a moment later. */
  readonly isPassing: boolean;
}

/** @param isAgain whether the same question had failed a moment before */
export function refusalOf(status: number | undefined, isAgain: boolean): Refusal {
  switch (status) {
    case TOO_BIG:
      return { words: "its answer would be too big (tooBig)", isPassing: false };
    case GEN_ERR:
    case RESOURCE_UNAVAILABLE: {
      const name = status === GEN_ERR ? "genErr" : "resourceUnavailable";
      const when = isAgain ? ", and failed again when it was asked once more" : "";
      return { words: `it failed to answer${when} (${name})`, isPassing: true };
    }
    default:
      return {
        words: `it refused the question (${NAMES.get(status ?? -1) ?? `error status ${status ?? "unknown"}`})`,
        isPassing: false,
      };
  }
}
