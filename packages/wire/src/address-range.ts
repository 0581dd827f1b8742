import { Fault } from "./fault.ts";
import { formatIpAddress, type IpAddress, parseIpAddress } from "./ip-address.ts";
import { parseOnce } from "./parse-once.ts";

/** A block of addresses, from a text such as `239.195.0.0/16` or `ff15::/16`; a bare address is a block of one. */
export interface AddressRange {
  readonly address: IpAddress;
  readonly prefixBits: number;
}

/** @throws {Fault} ADDRESS_INVALID, also where bits are set that the prefix leaves out: which range was meant is then a guess */
export function parseAddressRange(text: string): AddressRange {
  const [host = "", prefix, ...rest] = text.split("/");
  const address = parseIpAddress(host);
  const widthBits = address?.family === 6 ? 128 : 32;
  const prefixBits = prefix === undefined ? widthBits : Number(prefix);
  if (address === null || rest.length > 0 || !/^[0-9]{1,3}$/.test(prefix ?? "0") || prefixBits > widthBits) {
    throw new Fault("ADDRESS_INVALID", `"${text}" is no range of addresses`, "Write, for example, 239.195.0.0/16");
  }
  const first = formatIpAddress(networkOf(address, prefixBits));
  if (first !== formatIpAddress(address.bytes)) {
    throw new Fault(
      "ADDRESS_INVALID",
      `"${text}" is no range of addresses: a prefix of ${prefixBits} bits leaves out bits that are set in ${host}`,
      `Write ${first}/${prefixBits} if all of that is meant, or a longer prefix`,
    );
  }
  return { address, prefixBits };
}

/** Of a list that never changes: it is read once. @throws {Fault} ADDRESS_INVALID */
export const parseAddressRanges: (texts: readonly string[]) => readonly AddressRange[] = parseOnce(parseAddressRange);

/** @returns the address with every bit behind the prefix cleared */
export const networkOf = (address: IpAddress, prefixBits: number): Uint8Array =>
  address.bytes.map((byte, at) => byte & maskOf(prefixBits - 8 * at));

/** @param fromByte bytes before it are not compared */
export function isInRange(address: IpAddress, range: AddressRange, fromByte = 0): boolean {
  if (address.family !== range.address.family) return false;
  for (let at = fromByte; 8 * at < range.prefixBits; at++) {
    const mask = maskOf(range.prefixBits - 8 * at);
    if (((address.bytes[at] ?? 0) & mask) !== ((range.address.bytes[at] ?? 0) & mask)) return false;
  }
  return true;
}

/** The mask of one byte of which the first `bits` count. */
const maskOf = (bits: number): number => 0xff & (0xff00 >> Math.max(0, Math.min(8, bits)));
