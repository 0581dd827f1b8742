import { DEFAULT_UDP_PORT, Fault, isMulticast, parseIpAddress } from "@dyetrace/wire";
import { InvalidArgumentError } from "commander";

/** @throws {Fault} ADDRESS_INVALID */
export function groupArgument(text: string): string {
  const address = parseIpAddress(text);
  if (address !== null && isMulticast(address)) return text;
  throw new Fault(
    "ADDRESS_INVALID",
    `"${text}" is no multicast group`,
    "Write, for example, 239.195.10.4 or ff15::10:4",
  );
}

export const DEFAULT_PORT_TEXT: string = String(DEFAULT_UDP_PORT);

/** For commander: @returns the whole number of an option @throws {InvalidArgumentError} outside the range */
export const wholeNumber =
  (least: number, most: number): ((text: string) => number) =>
  (text) => {
    const value = Number(text);
    if (/^[0-9]+$/.test(text) && value >= least && value <= most) return value;
    throw new InvalidArgumentError(`Write a whole number from ${least} to ${most}.`);
  };
