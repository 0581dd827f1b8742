/**
 * Max Resp Code and QQIC of IGMPv3 and QQIC of MLDv2: linear below 128, else 4 bits of mantissa and 3 of exponent.
 * @see RFC 3376, sections 4.1.1 and 4.1.7; RFC 3810, section 5.1.9
 */
export const decodeFloatCode8 = (code: number): number =>
  code < 128 ? code : ((code & 0x0f) | 0x10) << (((code >> 4) & 0x07) + 3);

/**
 * Max Resp Code of MLDv2: linear below 32768, else 12 bits of mantissa and 3 of exponent.
 * @see RFC 3810, section 5.1.3
 */
export const decodeFloatCode16 = (code: number): number =>
  code < 32_768 ? code : ((code & 0x0fff) | 0x1000) << (((code >> 12) & 0x07) + 3);
