import { isSelected, MOST_SHIFT } from "./payload-digest.ts";

/**
 * The names of packets in the order in which one host got them, with the times: 48 bits for each, written as 8 characters. Plain
 * data, so that it survives JSON.
 */
export interface NameBlock {
  /** One in 2^shift packets is named. */
  readonly shift: number;
  /** Arrival of the first name, ns; times are told to 8 µs. */
  readonly baseNs: number;
  readonly text: string;
  /** `[index of the name, transport stream packets that its counters show missing since the name before]`. */
  readonly breaks: readonly (readonly [index: number, missing: number])[];
}

/** The same, taken apart. */
export interface Names {
  readonly digests: readonly number[];
  readonly timesNs: readonly number[];
  /** Transport stream packets missing before each. */
  readonly missing: readonly number[];
}

const UNIT_NS = 8000;
const MOST_UNITS = 0xffff;
const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
const VALUES = new Map([...DIGITS].map((digit, value) => [digit, value]));
const CHARACTERS = 8;
/** Breaks that one block tells. */
export const MOST_BREAKS = 4096;

export function writeNames({ digests, timesNs, missing }: Names, shift: number): NameBlock {
  const baseNs = Math.floor(timesNs[0] ?? 0);
  const parts: string[] = [];
  const breaks: [number, number][] = [];
  let units = 0;
  for (const [index, digest] of digests.entries()) {
    const now = Math.max(units, Math.round(((timesNs[index] ?? baseNs) - baseNs) / UNIT_NS));
    const step = now - units;
    // A long silence takes an entry of its own, with digest 0.
    if (step > MOST_UNITS) parts.push(entry(0, 0), entry(Math.floor(step / 65_536), step % 65_536));
    parts.push(entry(digest, step > MOST_UNITS ? 0 : step));
    units = now;
    const lost = missing[index] ?? 0;
    if (lost > 0 && breaks.length < MOST_BREAKS) breaks.push([index, lost]);
  }
  return { shift, baseNs, text: parts.join(""), breaks };
}

function entry(high: number, low: number): string {
  let text = "";
  // 32 bits, then 16: three characters of 6 bits hold the upper 18 of each 24.
  const first = Math.floor(high / 256);
  const second = (high % 256) * 65_536 + low;
  for (const half of [first, second]) {
    for (let bits = 18; bits >= 0; bits -= 6) text += DIGITS[(half >>> bits) & 63];
  }
  return text;
}

/** What is not well formed ends the reading: it comes from others. */
export function readNames({ baseNs, text, breaks }: NameBlock): Names {
  const digests: number[] = [];
  const timesNs: number[] = [];
  let units = 0;
  for (let at = 0; at + CHARACTERS <= text.length; at += CHARACTERS) {
    const high = half(text, at);
    const low = half(text, at + 4);
    if (high === null || low === null) break;
    const digest = high * 256 + (low >>> 16);
    if (digest !== 0) {
      units += low & MOST_UNITS;
      digests.push(digest);
      timesNs.push(baseNs + units * UNIT_NS);
      continue;
    }
    at += CHARACTERS;
    const [stepHigh, stepLow] = [half(text, at), half(text, at + 4)];
    if (stepHigh === null || stepLow === null) break;
    units += (stepHigh * 256 + (stepLow >>> 16)) * 65_536 + (stepLow & MOST_UNITS);
  }
  const missing = new Array<number>(digests.length).fill(0);
  for (const [index, lost] of breaks) if (index < missing.length) missing[index] = lost;
  return { digests, timesNs, missing };
}

function half(text: string, at: number): number | null {
  let value = 0;
  for (let i = at; i < at + 4; i++) {
    const digit = VALUES.get(text[i] ?? "");
    if (digit === undefined) return null;
    value = value * 64 + digit;
  }
  return value;
}

/** @returns the names that a greater shift selects; what was missing before one that falls away counts at the next */
export function thinNames({ digests, timesNs, missing }: Names, shift: number): Names {
  const thin: { digests: number[]; timesNs: number[]; missing: number[] } = { digests: [], timesNs: [], missing: [] };
  let carried = 0;
  for (const [index, digest] of digests.entries()) {
    carried += missing[index] ?? 0;
    if (!isSelected(digest, shift)) continue;
    thin.digests.push(digest);
    thin.timesNs.push(timesNs[index] ?? 0);
    thin.missing.push(carried);
    carried = 0;
  }
  return thin;
}

/** Characters that the names of one flow take in one merged report. */
export const MOST_NAME_CHARACTERS = 1_000_000;

/** Blocks of one flow in a row, within `MOST_NAME_CHARACTERS`: where they do not fit, fewer packets are compared. */
export function joinNameBlocks(a: readonly NameBlock[], b: readonly NameBlock[]): readonly NameBlock[] {
  let blocks = [...a, ...b];
  while (sizeOf(blocks) > MOST_NAME_CHARACTERS) {
    const shift = Math.max(...blocks.map((block) => block.shift)) + 1;
    if (shift > MOST_SHIFT) return [];
    blocks = blocks.map((block) => writeNames(thinNames(readNames(block), shift), shift));
  }
  return blocks;
}

const sizeOf = (blocks: readonly NameBlock[]): number => blocks.reduce((sum, { text }) => sum + text.length, 0);
