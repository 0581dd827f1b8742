import { createPrivateKey, X509Certificate } from "node:crypto";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { pinOf } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";
import { writeWhole } from "../files/write-whole.ts";

/** By what this controller is known to agents and browsers. */
export interface TlsIdentity {
  readonly certificate: string;
  readonly key: string;
  /** `sha256//…`: of the public key (RFC 7469's form), so that it outlasts a renewed certificate. */
  readonly pin: string;
  /** SHA-256 of the certificate, as browsers show it. */
  readonly fingerprint: string;
}

/** @throws {Fault} CERTIFICATE_INVALID, FILE_UNREADABLE */
export function readTlsIdentity(certificateFile: string, keyFile: string): TlsIdentity {
  const [certificate, key] = [certificateFile, keyFile].map((file) => {
    try {
      return readFileSync(file, "utf8");
    } catch (cause) {
      throw cannotRead(file, cause);
    }
  }) as [string, string];
  try {
    const parsed = new X509Certificate(certificate);
    if (!parsed.checkPrivateKey(createPrivateKey(key))) throw new Error("the key is not the certificate's");
    return { certificate, key, pin: pinOf(parsed), fingerprint: parsed.fingerprint256 };
  } catch (cause) {
    throw new Fault(
      "CERTIFICATE_INVALID",
      `Cannot use the certificate ${certificateFile} with the key ${keyFile}: ${(cause as Error).message}`,
      "Both are PEM files; the certificate comes first in a chain",
      { cause },
    );
  }
}

/** This controller's own certificate, made at its first start. @throws {Fault} FILE_UNREADABLE, CERTIFICATE_INVALID */
export async function ownTlsIdentity(folder: string): Promise<TlsIdentity> {
  const [certificateFile, keyFile] = [path.join(folder, "tls-certificate.pem"), path.join(folder, "tls-key.pem")];
  if (!existsSync(certificateFile)) {
    // Loaded where it is needed, once in a controller's life: it brings much along.
    const { makeCertificate } = await import("./make-certificate.ts");
    const { certificate, key } = await makeCertificate();
    try {
      mkdirSync(folder, { recursive: true, mode: 0o700 });
      writeWhole(keyFile, key, { mode: 0o600 });
      writeWhole(certificateFile, certificate);
    } catch (cause) {
      const { code } = cause as NodeJS.ErrnoException;
      throw new Fault("FILE_UNREADABLE", `Cannot keep a certificate in ${folder}: ${code}`, "Name another --data", {
        cause,
      });
    }
  }
  return readTlsIdentity(certificateFile, keyFile);
}
