import { randomBytes, type ScryptOptions, scrypt, timingSafeEqual } from "node:crypto";

/** About 50 ms and 32 MB a try on a small server (RFC 7914; the parameters are common practice, no source). */
const COST = { N: 32_768, r: 8, p: 1, maxmem: 64 * 1024 * 1024 };
const HASH_BYTES = 32;

/** @returns `scrypt:N:r:p:salt:hash`, so that later costs can differ */
export async function hashPassword(password: string): Promise<string> {
  const salt = randomBytes(16);
  const hash = await derive(password, salt, COST);
  return ["scrypt", COST.N, COST.r, COST.p, salt.toString("base64url"), hash.toString("base64url")].join(":");
}

/** @param stored null: nobody of that name; takes as long, so that names cannot be told by the time */
export async function isPassword(password: string, stored: string | null): Promise<boolean> {
  const [kind, n, r, p, salt = "", kept = ""] = (stored ?? NOBODY).split(":");
  if (kind !== "scrypt") return false;
  const costs = { N: Number(n), r: Number(r), p: Number(p), maxmem: COST.maxmem };
  const hash = await derive(password, Buffer.from(salt, "base64url"), costs);
  const expected = Buffer.from(kept, "base64url");
  return hash.length === expected.length && timingSafeEqual(hash, expected) && stored !== null;
}

const NOBODY = `scrypt:${COST.N}:${COST.r}:${COST.p}:AAAAAAAAAAAAAAAAAAAAAA:${"A".repeat(43)}`;

const derive = (password: string, salt: Buffer, costs: ScryptOptions): Promise<Buffer> =>
  new Promise((resolve, reject) =>
    // The same letters typed on two keyboards must be the same password.
    scrypt(password.normalize("NFC"), salt, HASH_BYTES, costs, (error, key) =>
      error === null ? resolve(key) : reject(error),
    ),
  );
