import { generateKeyPairSync, sign } from "node:crypto";
import { describe, expect, test } from "vitest";
import { checkStatement, signedWords } from "./signed-package.ts";

const maintainer = generateKeyPairSync("ed25519");
const stranger = generateKeyPairSync("ed25519");
/** The raw key is the end of its DER form (RFC 8410, section 4). */
const rawOf = ({ publicKey }: typeof maintainer): string =>
  publicKey.export({ format: "der", type: "spki" }).subarray(-32).toString("base64");

const facts = { version: "0.2.0", sha256: "ab".repeat(32) };
const statementOf = (signed: typeof facts, said: typeof facts = signed, by = maintainer): string =>
  JSON.stringify({ ...said, signature: sign(null, signedWords(signed), by.privateKey).toString("base64") });
const trust = { keys: [rawOf(maintainer)], allowsDowngrade: false, ownVersion: "0.1.9" };

describe("checkStatement", () => {
  test("given what the maintainer signed, then it is taken, also by the second of two keys, and of the same version", () => {
    expect(checkStatement(statementOf(facts), trust)).toEqual(facts);
    const keys = [rawOf(stranger), rawOf(maintainer)];
    expect(checkStatement(statementOf(facts), { ...trust, keys, ownVersion: "0.2.0" })).toEqual(facts);
  });

  test.each<[string, string, Partial<typeof trust>, RegExp]>([
    ["a stranger's signature", statementOf(facts, facts, stranger), {}, /not signed with a key that this host/],
    [
      "another package's checksum",
      statementOf(facts, { ...facts, sha256: "cd".repeat(32) }),
      {},
      /not signed with a key/,
    ],
    [
      "another version than the signed one",
      statementOf(facts, { ...facts, version: "9.0.0" }),
      {},
      /not signed with a key/,
    ],
    ["an older version", statementOf({ ...facts, version: "0.1.8" }), {}, /version 0\.1\.8, older than 0\.1\.9/],
    [
      "an older version that sorts behind",
      statementOf({ ...facts, version: "0.9.0" }),
      { ownVersion: "0.10.0" },
      /older than/,
    ],
    ["a host that names no key", statementOf(facts), { keys: [] }, /names no key/],
    ["no JSON", "<html>", {}, /cannot be read/],
    ["a signature that is cut short", statementOf(facts).replace(/.{8}=="/, '=="'), {}, /signature/],
  ])("given %s, then it is refused", (_what, text, changes, sentence) => {
    const check = () => checkStatement(text, { ...trust, ...changes });
    expect(check).toThrow(sentence);
    expect(check).toThrow(expect.objectContaining({ code: "UPGRADE_REFUSED" }));
  });

  test("given one bit of the signature changed, whichever, then it is refused", () => {
    const { signature } = JSON.parse(statementOf(facts)) as { signature: string };
    const bytes = Buffer.from(signature, "base64");
    for (let bit = 0; bit < bytes.length * 8; bit += 5) {
      const changed = Buffer.from(bytes);
      changed[bit >> 3] = (changed[bit >> 3] ?? 0) ^ (1 << (bit & 7));
      const text = JSON.stringify({ ...facts, signature: changed.toString("base64") });
      expect(() => checkStatement(text, trust)).toThrow("not signed with a key");
    }
  });

  test("given an older version and a host that allows it, then it is taken", () => {
    const older = { ...facts, version: "0.1.8" };
    expect(checkStatement(statementOf(older), { ...trust, allowsDowngrade: true })).toEqual(older);
  });
});
