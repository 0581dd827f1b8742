import { Fault } from "./fault.ts";

/**
 * Quantities as people write them: `30s`, `8 Mbit/s`, `1316 B`, `0.01 %`. Decimal prefixes only (SI brochure, 9th
 * edition, table 7): 1 kbit/s is 1000 bit/s. Every parser throws a `Fault` (UNIT_INVALID) that says what is accepted.
 */
type UnitTable = Readonly<Record<string, number>>;

const DURATION_NS: UnitTable = { ns: 1, us: 1e3, µs: 1e3, ms: 1e6, s: 1e9, min: 60e9, h: 3600e9, d: 86_400e9 };
const RATE_BPS: UnitTable = { "bit/s": 1, "kbit/s": 1e3, "Mbit/s": 1e6, "Gbit/s": 1e9 };
const SIZE_BYTES: UnitTable = { B: 1, kB: 1e3, MB: 1e6, GB: 1e9 };
const RATIO: UnitTable = { "%": 0.01 };

const QUANTITY = /^([0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?)\s*(\S+)$/i;

/** A quantity has no more characters than this; whoever writes thousands shall not make the pattern go over them again and again. */
const MOST_CHARACTERS = 64;

/** What was written, as far as a message shows it. */
export const shown = (text: string): string => (text.length > MOST_CHARACTERS ? `${text.slice(0, 63)}…` : text);

function parse(text: string, what: string, table: UnitTable, example: string): number {
  const match = text.length > MOST_CHARACTERS ? null : QUANTITY.exec(text.trim());
  const factor = match?.[2] === undefined || !Object.hasOwn(table, match[2]) ? undefined : table[match[2]];
  const value = match?.[1] === undefined || factor === undefined ? Number.NaN : Number(match[1]) * factor;
  if (!Number.isFinite(value)) {
    throw new Fault(
      "UNIT_INVALID",
      `"${shown(text)}" is not a ${what}`,
      `Write a number and one of ${Object.keys(table).join(", ")}, for example ${example}`,
    );
  }
  return value;
}

/** @returns nanoseconds, rounded to whole ones */
export const parseDurationNs = (text: string): number => Math.round(parse(text, "duration", DURATION_NS, "30s"));
/** @returns bits per second */
export const parseRateBps = (text: string): number => parse(text, "rate", RATE_BPS, "8 Mbit/s");
/** @returns whole bytes */
export const parseSizeBytes = (text: string): number => {
  const sizeBytes = parse(text, "size", SIZE_BYTES, "1316 B");
  if (!Number.isInteger(sizeBytes)) {
    throw new Fault("UNIT_INVALID", `"${shown(text)}" is not a whole number of bytes`, "Write, for example, 1316 B");
  }
  return sizeBytes;
};
/** @returns a share between 0 and 1 */
export const parseRatio = (text: string): number => {
  const ratio = parse(text, "share", RATIO, "0.01 %");
  if (ratio > 1) throw new Fault("UNIT_INVALID", `"${text}" is more than the whole`, "Write a share from 0 % to 100 %");
  return ratio;
};

/** `1.5 s`, `250 ms`, `12 µs`: three significant figures, the unit that keeps the number short. */
export function formatDurationNs(durationNs: number): string {
  const size = Math.abs(durationNs);
  if (size === 0) return "0 s";
  if (size >= 3600e9) return `${figures(durationNs / 3600e9)} h`;
  if (size >= 120e9) return `${figures(durationNs / 60e9)} min`;
  if (size >= 1e9) return `${figures(durationNs / 1e9)} s`;
  if (size >= 1e6) return `${figures(durationNs / 1e6)} ms`;
  if (size >= 1e3) return `${figures(durationNs / 1e3)} µs`;
  return `${figures(durationNs)} ns`;
}

/** `8 Mbit/s`, `950 kbit/s`. */
export function formatRateBps(rateBps: number): string {
  if (rateBps >= 1e9) return `${figures(rateBps / 1e9)} Gbit/s`;
  if (rateBps >= 1e6) return `${figures(rateBps / 1e6)} Mbit/s`;
  if (rateBps >= 1e3) return `${figures(rateBps / 1e3)} kbit/s`;
  return `${figures(rateBps)} bit/s`;
}

/** `0.5 %`, `12.3 %`, `100 %`; `0.001 %`: never as a power of ten. */
export function formatRatio(ratio: number): string {
  const percent = ratio * 100;
  return `${percent > 0 && percent < LEAST_PLAIN ? plainly(percent) : figures(percent)} %`;
}

/** Below this the language itself writes a power of ten. */
const LEAST_PLAIN = 1e-6;
const plainly = (value: number): string =>
  value.toFixed(Math.min(100, 1 - Math.floor(Math.log10(value)))).replace(/0+$/, "");

/**
 * `1520`, `14 247`: in groups of three with a narrow space between, four digits together, and no comma, which half of the
 * world reads as the decimal sign. SI Brochure, 9th edition, section 5.4.4.
 * @param count whole
 */
export function formatCount(count: number): string {
  const digits = String(count);
  return digits.length < 5 ? digits : digits.replace(/\B(?=(?:\d{3})+$)/g, "\u202f");
}

const figures = (value: number): string => String(Number(value.toPrecision(3)));
