/** RFC 3417, section 3.2 */
export const SNMP_PORT = 161;

/** What version 2c gives away. A caution where such a device is added. */
export const V2C_CAUTION =
  "SNMPv2c sends its community in clear, and whoever listens on the way can read the switch with it. Use SNMPv3 where the switch knows it; otherwise a community that may only read, allowed from this controller's address alone, on a management network";
