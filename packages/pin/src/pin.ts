import { createHash, type X509Certificate } from "node:crypto";

/** `sha256//…` over a certificate's public key (the form of RFC 7469), so that a renewed certificate changes nothing. */
export const PIN_FORM: RegExp = /^sha256\/\/[A-Za-z0-9+/]{43}=$/;

export const pinOf = (certificate: X509Certificate): string =>
  `sha256//${createHash("sha256")
    .update(certificate.publicKey.export({ type: "spki", format: "der" }))
    .digest("base64")}`;
