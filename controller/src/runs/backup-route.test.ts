import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import http from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { type FastifyInstance, fastify } from "fastify";
import { afterEach, beforeEach, expect, test, vi } from "vitest";
import { registerBackupRoute } from "./backup-route.ts";

let folder = "";
let app: FastifyInstance;
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-copies-"));
  app = fastify({ forceCloseConnections: true });
});
afterEach(async () => {
  await app.close();
  rmSync(folder, { recursive: true, force: true });
});

const fault = (error: unknown): unknown => error;
const copiesIn = (): readonly string[] => readdirSync(folder);

test("backup: given a copy, then it is sent whole and nothing of it stays", async () => {
  registerBackupRoute(app, { backUp: async (file) => writeFileSync(file, "all runs"), fault }, folder);
  const { statusCode, body } = await app.inject("/api/backup");
  expect([statusCode, body]).toEqual([200, "all runs"]);
  await vi.waitFor(() => expect(copiesIn()).toEqual([]));
});

test("backup: given what a controller left that was killed while it copied, then the next one removes that and nothing else", () => {
  mkdirSync(path.join(folder, ".dyetrace-backup-aB3xYz"));
  writeFileSync(path.join(folder, ".dyetrace-backup-aB3xYz", "store.sqlite"), "half");
  writeFileSync(path.join(folder, "access.json"), "{}");
  registerBackupRoute(app, { backUp: async () => undefined, fault }, folder);
  expect(copiesIn()).toEqual(["access.json"]);
});

test("backup: given that whoever asked hangs up while it is copied, then there is no second copy until that one is done, and it goes", async () => {
  let finish = (): void => {};
  let begun = "";
  const backUp = (file: string): Promise<void> => {
    begun = file;
    return new Promise((resolve) => {
      finish = () => {
        writeFileSync(file, "all runs");
        resolve();
      };
    });
  };
  registerBackupRoute(app, { backUp, fault }, folder);
  await app.listen({ host: "127.0.0.1", port: 0 });
  const closed = new Promise((resolve) => app.server.once("connection", (socket) => socket.once("close", resolve)));
  const asking = http.get({ port: (app.server.address() as AddressInfo).port, path: "/api/backup" });
  asking.on("error", () => undefined);
  await vi.waitFor(() => expect(begun).not.toBe(""));
  asking.destroy();
  await closed;
  expect(existsSync(path.dirname(begun))).toBe(true);
  expect((await app.inject("/api/backup")).json()).toMatchObject({ code: "TOO_MANY" });
  finish();
  await vi.waitFor(() => expect(copiesIn()).toEqual([]));
  const again = app.inject("/api/backup");
  await vi.waitFor(() => expect(copiesIn()).toHaveLength(1));
  finish();
  expect((await again).body).toBe("all runs");
});
