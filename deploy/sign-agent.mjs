/**
 * `npm run sign:agent`: signs the agent's package, on the machine where the maintainer's key is, which is no controller: whoever
 * takes a controller over must not be able to sign. Hosts whose file has the public key in upgrade-keys take what is signed.
 *   npm run sign:agent -- --make-key FILE     makes a key (Ed25519, RFC 8032) and prints its public half for the hosts
 *   npm run sign:agent -- --key FILE [FOLDER] signs the package in FOLDER (default: deploy/agent/dist)
 */
import { createHash, createPrivateKey, createPublicKey, generateKeyPairSync, sign } from "node:crypto";
import { readFileSync, writeFileSync } from "node:fs";
import path from "node:path";
import { root } from "./bootstrap.mjs";

const RAW_KEY_BYTES = 32;
const publicHalf = (key) =>
  createPublicKey(key).export({ format: "der", type: "spki" }).subarray(-RAW_KEY_BYTES).toString("base64");
const fail = (sentence) => {
  process.stderr.write(`${sentence}\n`);
  process.exit(2);
};

const [what, keyFile, place = path.join(root, "deploy", "agent", "dist")] = process.argv.slice(2);
if (keyFile === undefined || (what !== "--key" && what !== "--make-key")) {
  fail("Give --key FILE to sign, or --make-key FILE to make a key first.");
}
try {
  if (what === "--make-key") {
    const { privateKey } = generateKeyPairSync("ed25519");
    writeFileSync(keyFile, privateKey.export({ format: "pem", type: "pkcs8" }), { mode: 0o600, flag: "wx" });
    process.stdout.write(`${publicHalf(privateKey)}\n`);
  } else {
    const key = createPrivateKey(readFileSync(keyFile));
    if (key.asymmetricKeyType !== "ed25519") fail(`${keyFile} is no Ed25519 key.`);
    const file = path.join(path.resolve(place), "dyetrace-agent.tgz");
    const version = readFileSync(`${file}.version`, "utf8").trim();
    const sha256 = createHash("sha256").update(readFileSync(file)).digest("hex");
    const words = Buffer.from(`dyetrace-agent package\nversion ${version}\nsha256 ${sha256}\n`);
    const signature = sign(null, words, key).toString("base64");
    writeFileSync(`${file}.signed.json`, `${JSON.stringify({ version, sha256, signature }, null, 1)}\n`);
    process.stdout.write(`Signed version ${version} with the key ${publicHalf(key)}: ${file}.signed.json\n`);
  }
} catch (error) {
  fail(`Cannot sign: ${error.message}`);
}
