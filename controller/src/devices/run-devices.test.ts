import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { loadSitePlan } from "@dyetrace/site";
import type { RunProgress } from "@dyetrace/wire";
import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
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

/** A device whose port 1 counts 100 frames from each reading to the next. */
class CountingReader implements AsyncDisposable {
  asked = 0;
  readonly kinds: string[] = [];

  async read({ node }: { readonly node: string }, kind: string): Promise<DeviceReading> {
    this.asked++;
    this.kinds.push(kind);
    const counters: DevicePort["counters"] = {
      ...{ inOctets: null, outOctets: null, inUnicast: null, outUnicast: null, inBroadcast: null, outBroadcast: null },
      ...{ inMulticast: 100 * this.asked, outMulticast: null, inErrors: null, outErrors: null },
      ...{ inDiscards: null, outDiscards: null, multicastBits: 64 },
    };
    const port: DevicePort = {
      ...{ name: "1", index: 1, number: 1, announcedAs: null, alias: null, mac: null, type: 6, speedBps: 1e9 },
      ...{ up: true, enabled: true, duplex: "full", spanningTree: "forwarding", untaggedVlan: null },
      ...{ counters, countersFromMs: 0, countersToMs: 0 },
    };
    const readAt = new Date().toISOString();
    const blank = blankReading({ node, readAt, by: "snmp-v3", address: "192.0.2.1" });
    return { ...blank, upMs: Math.round(performance.now()), ports: [port], groups: [] };
  }

  async [Symbol.asyncDispose](): Promise<void> {}
}

function deskWith(reader: CountingReader, folder: string | null): DeviceDesk {
  const book = new DeviceBook(null);
  const access = { version: "2c", community: "not a secret here" } as const;
  book.put({ node: "core", address: "192.0.2.1", port: 161, access }, "a test");
  return new DeviceDesk(book, { note: () => {} }, folder, reader);
}

test("given devices that were read whole for the plan, then a run reads them once more before it begins, and not twice", async () => {
  const reader = new CountingReader();
  await using desk = deskWith(reader, null);
  const whole = await desk.read("core", "all", { who: "run r1", from: "" });
  using devices = await RunDevices.begin(desk, graph, "r1", () => {}, [whole]);
  expect(reader.kinds).toEqual(["all", "run"]);
  await sleep(5); // dates count milliseconds
  const startedAt = new Date();
  await sleep(5);
  const read = await devices?.end(graph, { startedAt, endedAt: startedAt }, []);
  // From the reading just before the start to that after the end: one step of the device's counter.
  expect(read?.devices).toMatchObject([{ ports: [{ port: "1", inMulticast: 100 }] }]);
  expect(read?.observations[0]?.ports[0]?.in?.quietPerS).toBeGreaterThan(0);
});

test("given a controller that is started anew in a run, then it knows what was counted before, and tables that were pasted", async () => {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-devices-"));
  try {
    const reader = new CountingReader();
    const first = deskWith(reader, folder);
    (await RunDevices.begin(first, graph, "r1", () => {}))?.[Symbol.dispose]();
    await sleep(5);
    const startedAt = new Date();
    await sleep(5);
    first.paste("core", [{ vlan: null, group: "239.195.10.4", ports: ["1"] }]);
    await first[Symbol.asyncDispose]();
    await using second = deskWith(reader, folder);
    using devices = RunDevices.resume(second, graph, "r1", startedAt.getTime(), () => {});
    const read = await devices?.end(graph, { startedAt, endedAt: new Date() }, ["239.195.10.4"]);
    expect(read?.devices).toMatchObject([
      { ports: [{ inMulticast: 100 }], groups: [{ group: "239.195.10.4", ports: ["1"] }] },
    ]);
    // The run is over: nothing of it is kept.
    expect(second.kept.of("r1")).toEqual([]);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});

test("given a run of another controller whose readings are not here, then what ports counted in it is unknown", async () => {
  const reader = new CountingReader();
  await using desk = deskWith(reader, null);
  const startedAt = new Date(Date.now() - 10_000);
  using devices = RunDevices.resume(desk, graph, "r2", startedAt.getTime(), () => {});
  const read = await devices?.end(graph, { startedAt, endedAt: new Date() }, []);
  expect(read?.devices).toMatchObject([{ ports: [{ port: "1", inMulticast: null }] }]);
});
