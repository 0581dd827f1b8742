import { PROBE_COMMUNITY } from "./talker-files.ts";

/** Tag, length, content (X.690, 8.1); of less than 128 bytes. */
const ber = (tag: number, ...content: readonly (Buffer | number)[]): Buffer => {
  const body = Buffer.concat(content.map((part) => (typeof part === "number" ? Buffer.of(part) : part)));
  return Buffer.concat([Buffer.of(tag, body.length), body]);
};
const integer = (value: number): Buffer => ber(0x02, value);

/** lldpLocChassisId.0, 1.0.8802.1.1.2.1.3.2.0 (LLDP-MIB, IEEE 802.1AB-2005): every `lldpd` has it. */
const CHASSIS = ber(0x06, 0x28, 0xc4, 0x62, 1, 1, 2, 1, 3, 2, 0);
/** sysUpTime.0, 1.3.6.1.2.1.1.3.0 (RFC 3418): `snmpd` answers this by itself. */
const UP_TIME = ber(0x06, 0x2b, 6, 1, 2, 1, 1, 3, 0);
const OCTET_STRING = 0x04;

/** A GetRequest of SNMPv2c (RFC 3416, section 3; RFC 1901, section 3). */
const get = (oid: Buffer): Buffer =>
  ber(
    0x30,
    integer(1),
    ber(0x04, Buffer.from(PROBE_COMMUNITY)),
    ber(0xa0, integer(1), integer(0), integer(0), ber(0x30, ber(0x30, oid, ber(0x05)))),
  );

export const ASK_LLDPD: Buffer = get(CHASSIS);
export const ASK_SNMPD: Buffer = get(UP_TIME);

export interface SwitchAnswers {
  readonly isSnmpdThere: boolean;
  /** `missing`: nobody answers for it. Null: this says nothing of it. */
  readonly lldpd: "there" | "missing" | null;
}

/** @param bytes of a stream: one answer or several */
export function readSwitchAnswers(bytes: Buffer): SwitchAnswers {
  const at = bytes.indexOf(CHASSIS);
  // Else noSuchObject, noSuchInstance, endOfMibView, or the question's own NULL beside an error.
  const lldpd = at < 0 ? null : bytes[at + CHASSIS.length] === OCTET_STRING ? "there" : "missing";
  return { isSnmpdThere: bytes.includes(UP_TIME), lldpd };
}
