import { createHash, type X509Certificate } from "node:crypto";

/**
 * `sha256//…` over a certificate's public key (the form of RFC 7469), so that a renewed certificate changes nothing; or two of
 * them with a semicolon between, as curl takes them: today's key and the one that follows it.
 */
export const PIN_FORM: RegExp = /^sha256\/\/[A-Za-z0-9+/]{43}=(;sha256\/\/[A-Za-z0-9+/]{43}=)?$/;

export const pinsOf = (pin: string): readonly string[] => pin.split(";");

export const pinOf = (certificate: X509Certificate): string =>
  `sha256//${createHash("sha256")
    .update(certificate.publicKey.export({ type: "spki", format: "der" }))
    .digest("base64")}`;
