import { createHash, randomBytes, timingSafeEqual } from "node:crypto";

/** 256 bits: guessing is hopeless, so a plain hash is enough to keep them by; passwords are another matter. */
const SECRET_BYTES = 32;

export const drawSecret = (): string => randomBytes(SECRET_BYTES).toString("base64url");

/** What is stored of a secret that we drew ourselves. */
export const hashSecret = (secret: string): string => createHash("sha256").update(secret).digest("base64url");

/** @param hash as `hashSecret` made it */
export function isSecret(secret: string, hash: string): boolean {
  const [asked, kept] = [Buffer.from(hashSecret(secret)), Buffer.from(hash)];
  return asked.length === kept.length && timingSafeEqual(asked, kept);
}
