import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { expect, test } from "vitest";
import { readCredential } from "./credential-file.ts";
import { enrolHost } from "./enrol-host.ts";

test("enrolHost: given a controller of several, then the host keeps where the others are, each with its pin", async () => {
  const others = [
    { controller: "https://192.0.2.2:8472", pin: `sha256//${"A".repeat(43)}=` },
    { controller: "http://192.0.2.3:8472", pin: null },
  ];
  const answer = { name: "kiosk", credential: "id.secret", until: "2027-01-01T00:00:00.000Z", others, previous: "x" };
  const server = createServer((_request, response) => response.end(JSON.stringify(answer)));
  server.listen(0, "127.0.0.1");
  await once(server, "listening");
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-enrol-"));
  try {
    const url = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
    const { until } = answer;
    const kept = { controller: url, pin: null, name: "kiosk", credential: "id.secret", until, others };
    expect(await enrolHost({ url, pin: null }, "enrol-key", "kiosk", folder)).toEqual(kept);
    expect(readCredential(folder)).toEqual(kept);
  } finally {
    server.close();
    rmSync(folder, { recursive: true });
  }
});
