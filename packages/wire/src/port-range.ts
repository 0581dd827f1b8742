import { Fault } from "./fault.ts";
import { parseOnce } from "./parse-once.ts";

/** UDP ports from one to another, both included. */
export interface PortRange {
  readonly first: number;
  readonly last: number;
}

/** @param text such as `48620` or `49152-65535` @throws {Fault} OPTION_INVALID */
export function parsePortRange(text: string): PortRange {
  const [, first = "", last = first] = /^([0-9]{1,5})(?:\s*-\s*([0-9]{1,5}))?$/.exec(text.trim()) ?? [];
  const range = { first: Number(first), last: Number(last) };
  if (first === "" || range.first < 1 || range.last > 65_535 || range.first > range.last) {
    throw new Fault("OPTION_INVALID", `"${text}" is no range of ports`, "Write, for example, 48620 or 49152-65535");
  }
  return range;
}

const parsePortRanges = parseOnce(parsePortRange);

/** @param ranges a list that never changes: it is read once @throws {Fault} OPTION_INVALID */
export const isAmongPorts = (port: number, ranges: readonly string[]): boolean =>
  parsePortRanges(ranges).some(({ first, last }) => first <= port && port <= last);
