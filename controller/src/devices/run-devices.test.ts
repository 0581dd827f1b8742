import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { loadSitePlan } from "@dyetrace/site";
import type { RunProgress } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { DeviceBook } from "./device-book.ts";
import { DeviceDesk } from "./device-desk.ts";
import { RunDevices } from "./run-devices.ts";

const graph = loadSitePlan(
  "site: Q\nnodes:\n  core: { kind: switch }\n  a: { kind: host }\n  b: { kind: host }\nlinks: [ 'core:1 -- a:eth0', 'core:2 -- b:eth0' ]\n",
  "plan.yaml",
);

test("given a damaged book of devices, then the run is told so in a sentence, and goes on without them", async () => {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-devices-"));
  try {
    writeFileSync(path.join(folder, "devices.json"), "{ kept-secret");
    await using desk = new DeviceDesk(new DeviceBook(folder), { note: () => {} });
    const said: RunProgress[] = [];
    using devices = await RunDevices.begin(desk, graph, "r1", (progress) => said.push(progress));
    expect(said).toMatchObject([
      { kind: "step", text: expect.stringMatching(/^No device is read: .*devices\.json is damaged/) },
    ]);
    expect(JSON.stringify(said)).not.toContain("kept-secret");
    const at = new Date();
    expect(await devices?.end(graph, { startedAt: at, endedAt: at }, [])).toBeNull();
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});

test("given a table that is pasted while a run goes on, then it is evidence of that run", async () => {
  await using desk = new DeviceDesk(new DeviceBook(null), { note: () => {} });
  const startedAt = new Date();
  using devices = await RunDevices.begin(desk, graph, "r1", () => {});
  desk.paste("core", [{ vlan: null, group: "239.195.10.4", ports: ["1"] }]);
  const read = await devices?.end(graph, { startedAt, endedAt: new Date() }, ["239.195.10.4"]);
  expect(read?.devices).toMatchObject([{ node: "core", groups: [{ group: "239.195.10.4", ports: ["1"] }] }]);
});
