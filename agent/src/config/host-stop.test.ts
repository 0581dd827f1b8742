import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { refuseWhileStopped, releaseHost, stopHost, watchHostStop } from "./host-stop.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-stop-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

test("stopHost: given a running agent, then it is told within a moment; one that is started later knows it, until it is released", async () => {
  let told = 0;
  using running = watchHostStop(folder, () => told++);
  expect([running.isStopped, told]).toEqual([false, 0]);
  stopHost(folder);
  expect(running.isStopped).toBe(true);
  await expect.poll(() => told, { timeout: 10_000 }).toBe(1);
  using later = watchHostStop(folder, () => told++);
  expect(later.isStopped).toBe(true);
  expect([releaseHost(folder), releaseHost(folder)]).toEqual([true, false]);
  expect([running.isStopped, later.isStopped]).toEqual([false, false]);
});

test("refuseWhileStopped: given a stopped host, then sending without a controller is refused, with the way to end it; given one that is allowed again, then not", () => {
  expect(() => refuseWhileStopped(folder)).not.toThrow();
  stopHost(folder);
  expect(() => refuseWhileStopped(folder)).toThrow(
    expect.objectContaining({ code: "GUARD_REFUSED", hint: expect.stringContaining(`allow --data ${folder}`) }),
  );
  releaseHost(folder);
  expect(() => refuseWhileStopped(folder)).not.toThrow();
});
