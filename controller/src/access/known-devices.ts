import { createHmac, timingSafeEqual } from "node:crypto";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import type { FastifyReply, FastifyRequest } from "fastify";
import { writeWhole } from "../files/write-whole.ts";
import type { OperatorRecord } from "./access-records.ts";
import { drawSecret } from "./secret.ts";

const COOKIE_S = 180 * 24 * 3600;
const NONCE = /^[A-Za-z0-9_-]{43}$/;

/** A browser that an operator has signed in with. It opens nothing: it only has a line of its own at sign-in. */
export interface KnownDevice {
  readonly name: string;
  readonly id: string;
}

/**
 * Tells browsers that an operator has signed in with from those of guessers, by a cookie that nobody else can make (as OWASP
 * describes for slowing down guesses). It is bound to the operator's record, so a new password or a removal ends it.
 */
export class KnownDevices {
  readonly #key: string;

  /** @param folder where the key outlasts a restart; null, or where nothing can be written, in memory */
  constructor(folder: string | null) {
    this.#key = folder === null ? drawSecret() : keyIn(folder);
  }

  /** @returns what a browser sends back: name, number, and the proof that we made it */
  prove(operator: OperatorRecord): string {
    const id = drawSecret();
    return `${operator.name}.${id}.${this.#proof(operator, id)}`;
  }

  /** @param text as `prove` made it, or anything else @returns null for whatever is none of ours, or no longer */
  find(text: string, operators: readonly OperatorRecord[]): KnownDevice | null {
    const [, name, id = "", proof = ""] = /^(.+)\.([^.]+)\.([^.]+)$/.exec(text) ?? [];
    const operator = operators.find((one) => one.name === name);
    if (operator === undefined || !NONCE.test(id)) return null;
    const [given, right] = [Buffer.from(proof), Buffer.from(this.#proof(operator, id))];
    return given.length === right.length && timingSafeEqual(given, right) ? { name: operator.name, id } : null;
  }

  #proof({ name, password }: OperatorRecord, id: string): string {
    return createHmac("sha256", this.#key).update(`${name} ${id} ${password}`).digest("base64url");
  }
}

const cookieName = (isTls: boolean): string => `${isTls ? "__Host-" : ""}dyetrace-device`;

export const deviceOf = ({ cookies, protocol }: Pick<FastifyRequest, "cookies" | "protocol">): string =>
  cookies[cookieName(protocol === "https")] ?? "";

export function giveDevice(reply: FastifyReply, proof: string): void {
  const isTls = reply.request.protocol === "https";
  const attributes = { path: "/", httpOnly: true, sameSite: "strict", secure: isTls, maxAge: COOKIE_S } as const;
  reply.setCookie(cookieName(isTls), proof, attributes);
}

function keyIn(folder: string): string {
  const file = path.join(folder, "device-key");
  try {
    if (existsSync(file)) return readFileSync(file, "utf8").trim();
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    const key = drawSecret();
    writeWhole(file, `${key}\n`, { mode: 0o600, isFolderOwners: true });
    return key;
  } catch {
    return drawSecret(); // then devices are strangers again after a restart
  }
}
