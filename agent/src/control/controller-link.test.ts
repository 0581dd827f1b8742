import { once } from "node:events";
import type { AddressInfo } from "node:net";
import { CONTROL_PROTOCOL } from "@dyetrace/wire";
import { pino } from "pino";
import { afterEach, beforeEach, expect, test } from "vitest";
import { WebSocketServer } from "ws";
import { ControllerLink, type LinkOptions } from "./controller-link.ts";

let server: WebSocketServer;
let link: ControllerLink | null = null;
beforeEach(async () => {
  server = new WebSocketServer({ host: "127.0.0.1", port: 0 });
  await once(server, "listening");
});
afterEach(() => {
  link?.close();
  server.close();
});

/** @returns what becomes of a link whose first hello is answered so, and whose next one is welcome */
function outcomeAfter(code: string): Promise<string> {
  let hellos = 0;
  server.on("connection", (socket) =>
    socket.once("message", () => {
      const refusal = { kind: "turned-away", code, message: "No", hint: "" };
      const welcome = { kind: "welcome", protocol: CONTROL_PROTOCOL, version: "1.0.0" };
      socket.send(JSON.stringify(hellos++ === 0 ? refusal : welcome));
      if (hellos === 1) socket.close();
    }),
  );
  const { port } = server.address() as AddressInfo;
  const hello = { kind: "hello" } as ReturnType<LinkOptions["hello"]>;
  const controllers = [{ url: `http://127.0.0.1:${port}`, pin: null }];
  const made = new ControllerLink({
    controllers,
    hello: () => hello,
    hasOtherKey: () => false,
    log: pino({ level: "silent" }),
  });
  link = made;
  return new Promise((resolve) => {
    made.once("up", () => resolve("up"));
    made.once("turnedAway", (fault) => resolve(`turned away: ${fault.code}`));
  });
}

test("a refusal: given that the credential is over, by a controller whose clock may be wrong, then the agent asks again", async () => {
  expect(await outcomeAfter("CREDENTIAL_EXPIRED")).toBe("up");
});

test("a refusal: given a credential that is revoked, or that was exchanged, then the agent ends", async () => {
  expect(await outcomeAfter("NOT_AUTHORISED")).toBe("turned away: NOT_AUTHORISED");
  link?.close();
  server.removeAllListeners("connection");
  expect(await outcomeAfter("CREDENTIAL_REPLACED")).toBe("turned away: CREDENTIAL_REPLACED");
});
