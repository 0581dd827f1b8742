import { formatIpAddress, withoutControls } from "@dyetrace/wire";
import type { Oid } from "./oid.ts";
import type { RawValue } from "./raw-tables.ts";

/** What a device gave, made into what a reading holds; null where it is none such. Nothing here throws, whatever it is given. */

const MOST_LETTERS = 255;

/** Octets as text: UTF-8 (SnmpAdminString of RFC 3411), without what could mislead who reads it; null where nothing is left. */
export function textOf(value: RawValue | undefined): string | null {
  if (!(value instanceof Uint8Array)) return null;
  const text = withoutControls(
    Buffer.from(value)
      .toString("utf8")
      .replace(/\0+$/, "")
      .replace(/[\t\n]/g, " "),
  ).trim();
  return text === "" ? null : [...text].slice(0, MOST_LETTERS).join("").slice(0, MOST_LETTERS);
}

export const macOf = (value: RawValue | undefined): string | null =>
  value instanceof Uint8Array && value.length === 6 ? macText(value) : null;

export const macText = (bytes: Iterable<number>): string =>
  [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join(":");

/** A whole number from 0 to `most`. */
export function countOf(value: RawValue | undefined, most: number = Number.MAX_SAFE_INTEGER): number | null {
  return typeof value === "number" && Number.isInteger(value) && value >= 0 && value <= most ? value : null;
}

/**
 * Counter64 as its octets. Past 2^53 it has no exact number, which at 100 Gbit/s of the smallest frames takes 2 years to count:
 * unknown then.
 */
export function count64Of(value: RawValue | undefined): number | null {
  if (!(value instanceof Uint8Array)) return countOf(value);
  const bytes = [...value];
  while (bytes.length > 0 && bytes[0] === 0) bytes.shift();
  if (bytes.length > 8) return null;
  const count = bytes.reduce((sum, byte) => sum * 256 + byte, 0);
  return Number.isSafeInteger(count) ? count : null;
}

/** Octets of an InetAddress of type ipv4 or ipv6 (RFC 4001). */
export function addressOf(bytes: Uint8Array | readonly number[] | undefined): string | null {
  if (bytes === undefined || (bytes.length !== 4 && bytes.length !== 16)) return null;
  return [...bytes].every((byte) => byte <= 255) ? formatIpAddress(Uint8Array.from(bytes)) : null;
}

/** Takes values from an index, one after the other; whatever does not fit makes the whole index null. */
export class IndexReader {
  readonly #arcs: Oid;
  #at = 0;
  #isBad = false;

  constructor(arcs: Oid) {
    this.#arcs = arcs;
  }

  number(): number {
    const arc = this.#arcs[this.#at++];
    if (arc === undefined) this.#isBad = true;
    return arc ?? 0;
  }

  octets(length: number): readonly number[] {
    const octets = this.#arcs.slice(this.#at, this.#at + length);
    this.#at += length;
    if (octets.length !== length || octets.some((octet) => octet > 255)) this.#isBad = true;
    return octets;
  }

  /** With its length before it. */
  counted(): readonly number[] {
    const length = this.number();
    if (length <= this.#arcs.length) return this.octets(length);
    this.#isBad = true;
    return [];
  }

  /** Whether everything was there and nothing is left over. */
  get isWhole(): boolean {
    return !this.#isBad && this.#at === this.#arcs.length;
  }
}
