import { X509Certificate } from "node:crypto";
import { once } from "node:events";
import https from "node:https";
import type { AddressInfo } from "node:net";
import { PinnedAgent, pinOf } from "@dyetrace/pin";
import { afterAll, beforeAll, expect, test } from "vitest";
import { makeCertificate } from "./make-certificate.ts";

interface Known {
  readonly port: number;
  readonly pin: string;
}

const servers: https.Server[] = [];
let [today, next, other]: Known[] = [];
beforeAll(async () => {
  [today, next, other] = await Promise.all(
    Array.from({ length: 3 }, async () => {
      const { certificate, key } = await makeCertificate();
      const server = https.createServer({ cert: certificate, key }, (_request, response) => response.end("ours"));
      servers.push(server.listen(0, "127.0.0.1"));
      await once(server, "listening");
      return { port: (server.address() as AddressInfo).port, pin: pinOf(new X509Certificate(certificate)) };
    }),
  );
});
afterAll(() => {
  for (const server of servers) server.close().closeAllConnections();
});

const ask = (to: Known | undefined, pin: string): Promise<string> =>
  new Promise((resolve, reject) => {
    const options = { host: "127.0.0.1", port: to?.port, agent: new PinnedAgent(pin) };
    https.get(options, (response) => response.once("data", (data) => resolve(String(data)))).once("error", reject);
  });

test("PinnedAgent: given two pins, then a controller with either key is known, and no other", async () => {
  const both = `${today?.pin};${next?.pin}`;
  expect(await ask(today, both)).toBe("ours");
  expect(await ask(next, both)).toBe("ours");
  await expect(ask(other, both)).rejects.toMatchObject({ code: "CERTIFICATE_STRANGE" });
  await expect(ask(next, today?.pin ?? "")).rejects.toMatchObject({ code: "CERTIFICATE_STRANGE" });
});
