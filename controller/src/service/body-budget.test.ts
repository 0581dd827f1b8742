import { once } from "node:events";
import type { AddressInfo } from "node:net";
import { connect, type Socket } from "node:net";
import { type FastifyInstance, fastify } from "fastify";
import { afterEach, expect, test } from "vitest";
import { boundBodies } from "./body-budget.ts";

let app: FastifyInstance;
const sockets: Socket[] = [];
afterEach(async () => {
  for (const socket of sockets.splice(0)) socket.destroy();
  await app.close();
});

const MEGABYTE = 1024 * 1024;

test("boundBodies: given large bodies that come slowly, then one more of the same address is refused until they are gone, and what has no body is not", async () => {
  app = fastify({ bodyLimit: 2 * MEGABYTE, forceCloseConnections: true });
  app.decorateRequest("operator", null);
  boundBodies(app);
  let begun = 0;
  app.addHook("preParsing", async () => void begun++);
  app.post("/plan", () => ({}));
  app.get("/events", () => ({}));
  await app.listen({ port: 0, host: "127.0.0.1" });
  const { port } = app.server.address() as AddressInfo;
  for (let i = 0; i < 8; i++) {
    const socket = connect(port, "127.0.0.1");
    sockets.push(socket);
    socket.on("error", () => undefined);
    socket.write(
      `POST /plan HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: ${2 * MEGABYTE}\r\n\r\n{`,
    );
  }
  await expect.poll(() => begun).toBe(8);
  const ask = async (path: string, init: RequestInit): Promise<number> =>
    (await fetch(`http://127.0.0.1:${port}${path}`, init)).status;
  const small = { method: "POST", body: "{}", headers: { "content-type": "application/json" } };
  expect(await ask("/plan", small)).toBe(500); // the fault's own status is the business of `answerFaults`
  expect(await ask("/events", {})).toBe(200);
  const gone = sockets.map((socket) => once(socket, "close"));
  for (const socket of sockets) socket.destroy();
  await Promise.all(gone);
  await expect.poll(() => ask("/plan", small)).toBe(200);
});
