/// <reference path="./net-snmp.d.ts" />

import { setTimeout as sleep } from "node:timers/promises";
import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import snmp, { type Session, type SessionOptions, type Varbind } from "net-snmp";
import { BoundedSocket, type OpenSocket } from "./bounded-socket.ts";
import type { ReadingBounds } from "./reading-bounds.ts";
import { refusalOf } from "./refusal.ts";

/** Why a device could not be read; `isFinal` where nothing more is to be had of it. The message is the end of a sentence. */
export class DeviceTrouble extends Error {
  readonly isFinal: boolean;
  /** Whether the same question may be answered a moment later. */
  readonly isPassing: boolean;
  constructor(message: string, isFinal: boolean, isPassing = false) {
    super(message);
    this.isFinal = isFinal;
    this.isPassing = isPassing;
  }
}

/**
 * Questions to one device: reading only, one after the other. Nothing of the library's own errors goes further than this file: some
 * carry the user with its passwords.
 */
export class DeviceSession implements Disposable {
  readonly #socket: BoundedSocket;
  readonly #session: Session;
  readonly #untilMs: number;
  readonly #isV3: boolean;
  readonly #againMs: number;
  #againLeft: number;
  #hasAnswered = false;
  #fail: (trouble: DeviceTrouble) => void = () => {};

  constructor({ address, port, access }: DeviceTarget, bounds: ReadingBounds, open?: OpenSocket) {
    this.#isV3 = access.version === "3";
    this.#untilMs = performance.now() + bounds.withinMs;
    this.#againMs = bounds.againMs;
    this.#againLeft = bounds.mostAgain;
    const transport = address.includes(":") ? "udp6" : "udp4";
    this.#socket = new BoundedSocket(transport, { address, port }, bounds, open);
    const options: SessionOptions = {
      port,
      transport,
      timeout: bounds.answerMs,
      retries: bounds.retries,
      dgramModule: { createSocket: () => this.#socket },
    };
    this.#session =
      access.version === "2c"
        ? snmp.createSession(address, access.community, { ...options, version: snmp.Version2c })
        : snmp.createV3Session(
            address,
            {
              name: access.user,
              level: snmp.SecurityLevel.authPriv,
              authProtocol: snmp.AuthProtocols[access.auth],
              authKey: access.authPassword,
              privProtocol: snmp.PrivProtocols[access.privacy],
              privKey: access.privacyPassword,
            },
            options,
          );
    if (access.version === "3") demandProof(this.#session);
    this.#session.on("error", () => this.#socket.noteUnreadable());
    this.#socket.on("trouble", () => this.#fail(new DeviceTrouble(this.#socket.trouble ?? "", true)));
  }

  /** @throws {DeviceTrouble} */
  get(oids: readonly string[]): Promise<readonly Varbind[]> {
    return this.#ask((done) => this.#session.get(oids, done));
  }

  /** @returns for each OID what follows it, in the device's order @throws {DeviceTrouble} */
  getBulk(oids: readonly string[], maxRepetitions: number): Promise<readonly (readonly Varbind[])[]> {
    return this.#ask((done) => this.#session.getBulk(oids, 0, maxRepetitions, done));
  }

  [Symbol.dispose](): void {
    this.#fail(new DeviceTrouble("the reading was ended", true));
    this.#session.close();
  }

  /** What a device failed to answer it may answer a moment later. */
  async #ask<Answer>(question: Question<Answer>): Promise<Answer> {
    try {
      return await this.#askOnce(question, false);
    } catch (error) {
      if (!(error instanceof DeviceTrouble) || !error.isPassing || this.#againLeft === 0) throw error;
      this.#againLeft--;
      await sleep(this.#againMs);
      return this.#askOnce(question, true);
    }
  }

  #askOnce<Answer>(question: Question<Answer>, isAgain: boolean): Promise<Answer> {
    return new Promise((resolve, reject) => {
      const leftMs = this.#untilMs - performance.now();
      const late = setTimeout(() => this.#fail(new DeviceTrouble(LATE, true)), Math.max(0, leftMs));
      this.#fail = (trouble) => {
        clearTimeout(late);
        this.#fail = () => {};
        reject(trouble);
      };
      if (this.#socket.trouble !== null) {
        this.#fail(new DeviceTrouble(this.#socket.trouble, true));
        return;
      }
      question((error, answer) => {
        if (error !== null && error !== undefined) {
          this.#fail(this.#say(error, isAgain));
          return;
        }
        clearTimeout(late);
        this.#fail = () => {};
        this.#hasAnswered = true;
        resolve(answer);
      });
    });
  }

  #sayNoAnswer(): string {
    if (this.#socket.unreadable > 0) return "it answers with something that is no SNMP";
    if (this.#hasAnswered) return "it did not answer any more";
    // A device says which engine it is before it is told who asks, and many say nothing to what they cannot decrypt.
    if (this.#socket.datagrams > 0)
      return "it is there, but did not answer this user in time: it is busy, or the privacy password is wrong";
    return this.#isV3
      ? "it did not answer; is the address right, and does it take SNMPv3 from here?"
      : "it did not answer; are address and community right, and does it take them from here?";
  }

  /** In words of our own, whatever the library has written. */
  #say(error: Error, isAgain: boolean): DeviceTrouble {
    const { name, message } = error;
    if (name === "RequestTimedOutError") {
      return new DeviceTrouble(this.#sayNoAnswer(), true);
    }
    if (name === "RequestFailedError") {
      const { words, isPassing } = refusalOf((error as { status?: number }).status, isAgain);
      return new DeviceTrouble(words, false, isPassing);
    }
    for (const [part, words] of REPORTS) if (message.includes(part)) return new DeviceTrouble(words, true);
    return new DeviceTrouble("its answer makes no sense", true);
  }
}

type Question<Answer> = (done: (error: Error | null, answer: Answer) => void) => void;

const LATE = "it took longer than one reading may";

const UNPROVED = "dyetrace: unproved";

/** usmStats of RFC 3414, section 5, as the library words them, and what its own checks say. */
const REPORTS: readonly (readonly [string, string])[] = [
  ["Unknown User Name", "it does not know this user"],
  ["Wrong Digest", "the password or its kind (--auth) is wrong"],
  ["Authentication digest", "its answer is not signed with this user's password, so it may be somebody else's"],
  [UNPROVED, "its answer is not signed and encrypted, so it may be somebody else's"],
  ["Decryption Error", "the privacy password or its kind is wrong"],
  ["decrypt", "the privacy password or its kind is wrong"],
  ["Unsupported Security Level", "it does not allow this user authentication with privacy"],
  ["Not In Time Window", "its clock and boot count do not agree with what it said before"],
  ["time window", "its clock and boot count do not agree with what it said before"],
  ["Community", "its answer bears another community"],
];

/**
 * The library takes an answer without a signature for one of a user that must sign. A response has the security level of its
 * request (RFC 3414, section 3.2, step 7; RFC 3412, section 7.2).
 */
function demandProof(session: Session): void {
  const take = session.onSimpleGetResponse.bind(session);
  session.onSimpleGetResponse = (request, message) => {
    if (message.hasAuthentication() && message.hasPrivacy()) take(request, message);
    else request.responseCb(new Error(UNPROVED));
  };
}
