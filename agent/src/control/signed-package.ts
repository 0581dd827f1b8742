import { createPublicKey, verify } from "node:crypto";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";

/** Whose packages this host takes, as its own file says. */
export interface PackageTrust {
  /** Raw Ed25519 public keys (RFC 8032), base64; any of them will do, so that one can follow another. */
  readonly keys: readonly string[];
  readonly allowsDowngrade: boolean;
  /** Of the program that runs now: `1.2.3`. */
  readonly ownVersion: string;
}

/** What a package is, as somebody with a key has signed it. */
export interface PackageFacts {
  readonly version: string;
  /** SHA-256 in hexadecimal. */
  readonly sha256: string;
}

const VERSION_FORM = /^([0-9]{1,9})\.([0-9]{1,9})\.([0-9]{1,9})$/;
const schema = (): Type.TObject<{ version: Type.TString; sha256: Type.TString; signature: Type.TString }> =>
  Type.Object({
    version: Type.String({ pattern: VERSION_FORM.source }),
    sha256: Type.String({ pattern: "^[0-9a-f]{64}$" }),
    signature: Type.String({ pattern: "^[A-Za-z0-9+/]{86}==$" }),
  });
/** What stands before a raw Ed25519 key in its DER form (RFC 8410, section 4). */
const SPKI_HEAD = Buffer.from("302a300506032b6570032100", "hex");

/** The bytes that are signed. deploy/sign-agent.mjs makes the same. */
export const signedWords = ({ version, sha256 }: PackageFacts): Buffer =>
  Buffer.from(`dyetrace-agent package\nversion ${version}\nsha256 ${sha256}\n`);

/**
 * What a signed statement says of a package, once it is sure that this host may take it.
 * @param text JSON, as a controller hands it out
 * @throws {Fault} UPGRADE_REFUSED: no key of this host's signed it, or it is older than what runs here
 */
export function checkStatement(text: string, { keys, allowsDowngrade, ownVersion }: PackageTrust): PackageFacts {
  if (keys.length === 0) {
    throw refused(
      "This host's file names no key whose packages it takes",
      "Put the maintainer's public key in upgrade-keys there, or paste the line for new agents on the host",
    );
  }
  const { version, sha256, signature } = parseAs(
    schema(),
    parseJson(text),
    "UPGRADE_REFUSED",
    "The package's signature",
  );
  const words = signedWords({ version, sha256 });
  const isSigned = keys.some((key) => verify(null, words, publicKeyOf(key), Buffer.from(signature, "base64")));
  if (!isSigned) {
    throw refused(
      "The package was not signed with a key that this host's file names",
      "See that it comes from the maintainer, and that upgrade-keys holds that key",
    );
  }
  if (!allowsDowngrade && compareVersions(version, ownVersion) < 0) {
    throw refused(
      `The package is version ${version}, older than ${ownVersion} that runs here`,
      "Set allow-downgrade in the host's file if that is what you want",
    );
  }
  return { version, sha256 };
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    throw refused("The package's signature cannot be read", "Sign it again on the maintainer's machine");
  }
}

const publicKeyOf = (key: string) =>
  createPublicKey({ key: Buffer.concat([SPKI_HEAD, Buffer.from(key, "base64")]), format: "der", type: "spki" });

/** @returns below 0 where `a` is older @param b any other form than `1.2.3` is older than everything */
function compareVersions(a: string, b: string): number {
  const [left, right] = [a, b].map((version) => VERSION_FORM.exec(version)?.slice(1).map(Number) ?? [-1, 0, 0]);
  for (let at = 0; at < 3; at++) {
    const difference = (left?.[at] ?? 0) - (right?.[at] ?? 0);
    if (difference !== 0) return difference;
  }
  return 0;
}

const refused = (message: string, hint: string): Fault => new Fault("UPGRADE_REFUSED", message, hint);
