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

const SILENT = pino({ level: "silent" });

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
    log: SILENT,
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

test("several controllers: given that the one goes where an agent is connected, then the agent moves to another, and stays there when the first is back", async () => {
  const others = new WebSocketServer({ host: "127.0.0.1", port: 0 });
  await once(others, "listening");
  const welcome = (at: WebSocketServer): void =>
    void at.on("connection", (socket) =>
      socket.once("message", () => {
        socket.send(JSON.stringify({ kind: "welcome", protocol: CONTROL_PROTOCOL, version: "1.0.0" }));
      }),
    );
  welcome(server);
  welcome(others);
  const [first = "", second = ""] = [server, others].map(
    (at) => `http://127.0.0.1:${(at.address() as AddressInfo).port}`,
  );
  const made = new ControllerLink({
    controllers: [first, second].map((url) => ({ url, pin: null })),
    hello: () => ({ kind: "hello" }) as ReturnType<LinkOptions["hello"]>,
    hasOtherKey: () => false,
    log: SILENT,
  });
  link = made;
  try {
    await once(made, "up");
    expect(made.at.url).toBe(first);
    const again = once(made, "up");
    server.close();
    for (const client of server.clients) client.terminate();
    await again;
    expect(made.at.url).toBe(second);
    const back = new WebSocketServer({ host: "127.0.0.1", port: Number(new URL(first).port) });
    await once(back, "listening");
    try {
      await expect(once(back, "connection", { signal: AbortSignal.timeout(300) })).rejects.toThrow();
      expect([made.isUp, made.at.url]).toEqual([true, second]);
    } finally {
      back.close();
    }
  } finally {
    others.close();
    for (const client of others.clients) client.terminate();
  }
});
