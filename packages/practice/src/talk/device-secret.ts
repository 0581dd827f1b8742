import { randomBytes } from "node:crypto";

/** How a practice site's switches are read: SNMPv3 with authentication and encryption (RFC 3414, RFC 3826). */
export interface PracticeDevice {
  /** Name of the plan's node. */
  readonly node: string;
  /** On the site's management network. */
  readonly address: string;
  readonly user: string;
  /** HMAC-SHA-96 */
  readonly authKey: string;
  /** AES-128 in CFB mode */
  readonly privKey: string;
}

export const DEVICE_USER = "dyetrace";

export interface DeviceSecret {
  readonly authKey: string;
  readonly privKey: string;
}

/** One for each site, and gone with it. */
export const makeDeviceSecret = (): DeviceSecret => ({
  authKey: randomBytes(16).toString("hex"),
  privKey: randomBytes(16).toString("hex"),
});
