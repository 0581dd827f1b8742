import Type from "@dyetrace/schema";

/**
 * Values that come from another program, with the bounds that all of them have: what is read here is added up, drawn and stored,
 * and neither a sum nor a database may break on it.
 */

/** Counts and sequence numbers: whole numbers that a double holds exactly. */
export const Count = Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER });

/** An instant or a difference of clocks, ns: within 31 years, longer than any host is up. */
const MOST_NS = 1e18;
export const Ns = Type.Number({ minimum: -MOST_NS, maximum: MOST_NS });
export const DurationNs = Type.Number({ minimum: 0, maximum: MOST_NS });

/** A sum of up to 2^53 durations of a year. */
const MOST_SUM = 1e33;
export const SumOfNs = Type.Number({ minimum: -MOST_SUM, maximum: MOST_SUM });

/**
 * What may stand in no words of another program, which are shown on terminals and stored in databases: control characters but
 * tab and line feed, and what turns the direction of writing or begins a line of its own (Unicode Bidirectional Algorithm,
 * UAX #9; U+2028 and U+2029). An escape sequence, a carriage return or a turned word could write over what the operator
 * reads, and PostgreSQL takes no NUL.
 */
const CONTROLS = "\\u0000-\\u0008\\u000b-\\u001f\\u007f-\\u009f\\u2028-\\u202e\\u2066-\\u2069";
const ANY_CONTROL = new RegExp(`[${CONTROLS}]`, "g");

/** Words of another program, with nothing in them that could mislead who reads them. */
export const words = (maxLength: number, minLength = 0): Type.TString =>
  Type.String({ minLength, maxLength, pattern: `^[^${CONTROLS}]*$` });

/** The same words without such characters. */
export const withoutControls = (text: string): string => text.replace(ANY_CONTROL, "\ufffd");
