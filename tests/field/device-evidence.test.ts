import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

/**
 * Switches that talk, by Debian's snmpd and lldpd: what the controller reads of them, held against the kernel's own words, and what
 * it makes of it when something fails.
 *
 *   tower -- core --+-- pier-east -- kiosk-1, kiosk-2
 *         (querier) +-- hall -- lounge
 */
const PLAN = `
site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch, querier: true }
  pier-east: { kind: switch }
  hall: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  lounge: { kind: host }
links:
  - core:1 -- pier-east:24
  - core:3 -- hall:24
  - core:9 -- tower:eth0
  - pier-east:1 -- kiosk-1:eth0
  - pier-east:2 -- kiosk-2:eth0
  - hall:5 -- lounge:eth0
`;
const GROUP = "239.195.10.4";
/** RFC 1112, section 6.4: 01:00:5e and the group's last 23 bits. */
const LINK_GROUP = "01:00:5e:43:0a:04";
const SCENARIO = `
scenario: reach
streams: [ { name: board, source: tower, group: ${GROUP}, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: board }
  - { at: 6s, stop: board }
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN, { switchesTalk: true });
}, 300_000);
afterAll(() => bench?.[Symbol.asyncDispose]());

const read = (node: string): Promise<DeviceReading> => bench.client.ask("readDevice", { path: { node } });

test("given a switch that talks, then its reading has the ports, links and Ethernet addresses that the kernel has", async () => {
  const reading = await read("core");
  expect(reading).toMatchObject({ by: "snmp-v3", systemName: "core" });
  const links = JSON.parse((await bench.site.exec("core", ["ip", "-j", "link"])).stdout) as readonly {
    readonly ifname: string;
    readonly ifindex: number;
    readonly address: string;
  }[];
  for (const name of ["1", "3", "9"].map((port) => bench.site.interfaceOf("core", port))) {
    const link = links.find(({ ifname }) => ifname === name);
    const port = reading.ports?.find((one) => one.name === name);
    expect(port).toMatchObject({ index: link?.ifindex, mac: link?.address, up: true, spanningTree: "forwarding" });
  }
  // Announcements go out every 2 s, to whoever is a neighbour by the plan.
  await expect
    .poll(async () =>
      (await read("core")).neighbours?.map(({ systemName, portId }) => `${systemName}:${portId}`).sort(),
    )
    .toEqual(["hall:24", "pier-east:24"]);
  const macOfKiosk = bench.site.addressOf("kiosk-1").mac;
  await expect
    .poll(async () => (await read("pier-east")).forwarding?.find(({ mac }) => mac === macOfKiosk)?.port)
    .toBe(bench.site.interfaceOf("pier-east", "1"));
});

/** Sends a signal to those of a switch's own processes that bear a name; `ip netns pids` knows no others. */
const signalIn = (node: string, signal: string, name: string) =>
  bench.site.exec(node, [
    "sh",
    "-c",
    'for p in $(ip netns pids "$0"); do [ "$(cat /proc/$p/comm)" != "$2" ] || { kill "-$1" "$p" && echo "$p"; }; done',
    ...[node, signal, name],
  ]);

test("given an lldpd that says nothing any more and an snmpd that ended, then both switches answer again by themselves", async () => {
  // What a machine does that is too busy for them: stopped for half a minute, they lost each other for good.
  expect((await signalIn("core", "STOP", "lldpd")).stdout).toMatch(/^\d+\n\d+\n$/);
  expect((await signalIn("pier-east", "KILL", "snmpd")).stdout).toMatch(/^\d+\n$/);
  expect((await read("core")).neighbours).toBeNull();
  const neighbours = async (node: string): Promise<string | undefined> =>
    (await read(node)).neighbours
      ?.map(({ systemName, portId }) => `${systemName}:${portId}`)
      .sort()
      .join();
  await expect.poll(() => neighbours("core"), { timeout: 60_000 }).toBe("hall:24,pier-east:24");
  await expect.poll(() => neighbours("pier-east"), { timeout: 60_000 }).toBe("core:1");
  expect((await read("pier-east")).forwarding?.length).toBeGreaterThan(0);
});

/** What an agent whose host's file says `announce: true` does, for some seconds. */
const ANNOUNCING = `
import { Announcer } from ${JSON.stringify(new URL("../../agent/dist/announce/announcer.js", import.meta.url).href)};
const announcer = new Announcer(process.argv[1], "kiosk-2", (why) => console.error(why));
await new Promise((resolve) => setTimeout(resolve, 9_000));
announcer[Symbol.dispose]();
`;

test("given a host that announces itself, then its switch knows it by name, and no more once it has ended", async () => {
  const names = async (node: string): Promise<(string | null)[]> =>
    (await read(node)).neighbours?.map(({ systemName }) => systemName) ?? [];
  expect(await names("pier-east")).not.toContain("kiosk-2");
  const argv = [process.execPath, "--input-type=module", "-e", ANNOUNCING, bench.site.interfaceOf("kiosk-2", "eth0")];
  const announced = bench.site.exec("kiosk-2", argv);
  await expect.poll(() => names("pier-east"), { interval: 500 }).toContain("kiosk-2");
  expect(await announced).toMatchObject({ code: 0, stderr: "" });
  await expect.poll(() => names("pier-east"), { interval: 500 }).not.toContain("kiosk-2");
  // No switch forwards it (IEEE 802.1Q, table 8-1).
  expect(await names("core")).not.toContain("kiosk-2");
});

test("given frames that are dropped where one switch sends to another, and a device with a wrong password, then the run goes on, and counters and tables leave one suspect", async () => {
  const [hall] = (await bench.client.ask("listDevices")).filter(({ node }) => node === "hall");
  const access = {
    version: "3",
    user: hall?.user,
    auth: "sha",
    authPassword: "not its password",
    privacy: "aes",
    privacyPassword: "nor this one",
  };
  await bench.client.ask("addDevice", { body: { node: "hall", address: hall?.address, port: 161, access } });
  let table = "";
  const report = await bench.run(SCENARIO, {
    faults: ["drop, on: 'core:1>pier-east:24', share: 100 %"],
    onProgress: (progress) => {
      if (progress.kind !== "go") return;
      setTimeout(() => {
        void bench.site.exec("core", ["bridge", "mdb", "show"]).then(({ stdout }) => {
          table = stdout;
        });
      }, progress.startsInMs + 4_000);
    },
  });
  const [finding, ...others] = report.findings;
  expect(others).toEqual([]);
  expect(finding).toMatchObject({ kind: "stops", suspects: ["core:1>pier-east:24"] });
  expect(finding?.evidence.join("\n")).toMatch(/core, out of port 1, counted \d+: they were lost before it\./);
  expect(finding?.evidence.join("\n")).toMatch(/have the port towards kiosk-[12]: its membership reports get there/);
  // A device that could not be read is still the one of that name.
  expect(report.notes.join("\n")).not.toContain("hall-2");
  const devices = new Map((report.devices ?? []).map((device) => [device.node, device]));
  expect([...devices.keys()].sort()).toEqual(["core", "hall", "pier-east"]);
  expect(devices.get("hall")).toMatchObject({
    readAt: [],
    unread: ["hall could not be read: the password or its kind (--auth) is wrong."],
  });
  const sent = report.streams[0]?.sent ?? 0;
  const core = devices.get("core");
  expect(core?.ports.find(({ port }) => port === "9")?.inMulticast).toBeGreaterThanOrEqual(sent);
  expect(core?.ports.find(({ port }) => port === "3")?.outMulticast).toBeGreaterThanOrEqual(sent);
  expect(core?.ports.find(({ port }) => port === "1")?.outMulticast).toBeLessThan(sent / 10);
  // As the kernel's own table had it in the run.
  const listed = table.split("\n").filter((line) => line.includes(GROUP));
  const ports = ["1", "3", "9"].filter((port) =>
    listed.some((line) => line.includes(` ${bench.site.interfaceOf("core", port)} `)),
  );
  expect(core?.groups?.find(({ group }) => group === GROUP)?.ports.toSorted()).toEqual(ports);
});

test("given membership reports that are lost on the way up, then the table tells it from lost frames", async () => {
  const report = await bench.run(SCENARIO, { faults: ["drop-reports, on: 'pier-east:24>core:1'"] });
  const [finding] = report.findings;
  expect(finding?.suspects).toEqual(["pier-east:24>core:1"]);
  expect(finding?.evidence.join("\n")).toMatch(
    /core's table has no entry for 239\.195\.10\.4 on port 1: the reports of kiosk-[12] do not get there\./,
  );
  expect((await read("core")).groups?.find(({ group }) => group === LINK_GROUP)?.ports ?? []).not.toContain(
    bench.site.interfaceOf("core", "1"),
  );
});

const SENDING = new URL("./group-source.mjs", import.meta.url).pathname;
/** Of a host's own traffic that every switch floods (RFC 4541, section 2.1.2), packets. */
const NOISE_PER_S = 100;

test("given other traffic that hides which counter lacks the frames, then the run leaves several suspects, and a burst of known number one", async () => {
  const noise = await bench.site.spawn("lounge", [
    ...[process.execPath, SENDING, "224.0.0.251", bench.site.addressOf("lounge").ipv4],
    ...[String(90 * NOISE_PER_S), String(1_000 / NOISE_PER_S), "100"],
  ]);
  const faults = [`drop, on: 'core:1>pier-east:24', group: ${GROUP}, share: 100 %`];
  const words: string[] = [];
  const report = await bench.run(
    SCENARIO.replace("scenario: reach", "scenario: reach\nbursts: true").replace("at: 6s", "at: 3s"),
    {
      faults,
      onProgress: (progress) => {
        if (progress.kind === "step") words.push(progress.text);
      },
    },
  );
  noise.signal("SIGKILL");
  // Said before anything is sent, with how much at most.
  const [ahead] = words;
  expect(ahead).toMatch(
    /one burst of test packets of 2 s follows it, .* with 2000 packets per second of each stream and the streams' own rates at most$/,
  );
  // A burst is sent only where the run itself left several suspects, and its packets did not stand out.
  const [, packets] = /^A test burst was sent: ([\d,]+) packets of board in 2 s/.exec(report.notes.join("\n")) ?? [];
  const sent = Number(packets?.replaceAll(",", ""));
  expect(sent).toBeGreaterThan(report.streams[0]?.sent ?? 0);
  const [finding, ...others] = report.findings;
  expect(others).toEqual([]);
  expect(finding).toMatchObject({ kind: "stops", suspects: ["core:1>pier-east:24"] });
  const evidence = finding?.evidence.join("\n") ?? "";
  expect(evidence).toMatch(/Test burst: core, out of port 1, counted \d+: they were lost before it\./);
  expect(evidence).toContain("The run itself said: board stops");
  const [, counted] = /core, in at port 9, counted ([\d,]+) multicast frames/.exec(evidence) ?? [];
  expect(Number(counted?.replaceAll(",", ""))).toBeGreaterThanOrEqual(sent);
});
