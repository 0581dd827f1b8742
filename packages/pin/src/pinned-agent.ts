import https from "node:https";
import type { Duplex } from "node:stream";
import { type ConnectionOptions, connect } from "node:tls";
import { Fault } from "@dyetrace/wire";
import { pinOf, pinsOf } from "./pin.ts";

/**
 * Connects only to a controller whose certificate has the pinned key, whoever signed it and whatever name it bears.
 * Nothing is sent before that is known.
 */
export class PinnedAgent extends https.Agent {
  readonly #pin: string;

  /** @param pin as `PIN_FORM` has it: of two, either will do */
  constructor(pin: string) {
    super({ keepAlive: false });
    this.#pin = pin;
  }

  override createConnection(
    options: Parameters<https.Agent["createConnection"]>[0],
    callback?: (error: Error | null, stream: Duplex) => void,
  ): Duplex | null | undefined {
    const to: ConnectionOptions = { ...(options as ConnectionOptions), rejectUnauthorized: false };
    const socket = connect(to);
    const refuse = (error: Error): void => {
      socket.destroy();
      callback?.(error, socket);
    };
    socket.once("error", refuse);
    socket.once("secureConnect", () => {
      const certificate = socket.getPeerX509Certificate();
      if (certificate === undefined || !pinsOf(this.#pin).includes(pinOf(certificate))) {
        refuse(strange(certificate === undefined ? "none" : pinOf(certificate), this.#pin));
        return;
      }
      socket.off("error", refuse);
      callback?.(null, socket);
    });
    return undefined;
  }
}

const strange = (met: string, pinned: string): Fault =>
  new Fault(
    "CERTIFICATE_STRANGE",
    `The controller's certificate has the key ${met}, not ${pinsOf(pinned).join(" or ")}`,
    "Somebody else answers there, or the controller was set up anew: then enrol this host again",
  );
