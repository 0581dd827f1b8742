import { LIVE_SAFETY } from "@dyetrace/controller";
import type { RunProgress } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { startSource } from "./group-traffic.ts";
import { type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { findingOf, receiptOf } from "./support/report-look-up.ts";

/** What a controller does on a site that is not its own: here on a practice site that it takes for a live one. */
const PLAN = `
site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  office: { kind: host }
  kiosk: { kind: host }
  stand: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- office:eth0", "core:3 -- kiosk:eth0", "core:4 -- stand:eth0" ]
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN, { safety: { ...LIVE_SAFETY, lookNs: 2e9, rampStepNs: 4e9 } });
});
afterAll(() => bench[Symbol.asyncDispose]());

const scenario = shippedScenario("containment");
/** About 29 packets/s: two steps of the ramp, 10 and 20, lie below it. */
const parameters = { source: "tower", members: "[kiosk]", rate: "300 kbit/s", hold: "2s" };

test.each([
  ["the group on another port", "239.195.10.4", "239.195.10.4", 5004, "is in use: "],
  // RFC 2464 section 7: the last 32 bits make the Ethernet address.
  [
    "an IPv6 group with the same Ethernet address",
    "ff15::8000:4",
    "ff15:7::8000:4",
    48_620,
    "has the Ethernet address 33:33:80:00:00:04 in common with ff15:7::8000:4, which is in use",
  ],
])(
  "look: given traffic to %s, then the run is refused, its sender is named, and nothing is sent",
  async (_, group, strange, port, what) => {
    await using stranger = await strangerOn("stand", strange, port);
    await using wire = await countAtSwitch("tower");
    await expect(bench.run(scenario, { parameters: { ...parameters, group } })).rejects.toThrow(
      new RegExp(
        `^GROUP_IN_USE: ${group} \\(board\\) ${what}.* saw [0-9]+ packets from ${stranger.address(strange)}.* port ${port}.*--despite-traffic`,
      ),
    );
    expect(await wire.packets()).toBe(0);
  },
);

test("ramp: given a switch that leaks, then the run ends at 10 packets/s, with the leak as its finding", async () => {
  const told: RunProgress[] = [];
  const report = await bench.run(scenario, {
    parameters: { ...parameters, rate: "4 Mbit/s" },
    faults: ["snooping-off, on: core"],
    onProgress: (progress) => told.push(progress),
  });
  expect(findingOf(report, "leaks").suspects[0]).toBe("core");
  expect(report.verdict).toBe("fail");
  expect(report.notes.join(" ")).toMatch(/Stopped for safety: [0-9]+ frames of board reached (office|stand)/);
  // 4 Mbit/s are 380 packets/s; at 10 packets/s the leak shows within a few seconds.
  expect(report.streams[0]?.sent).toBeLessThan(100);
  expect(told.some((progress) => progress.kind === "go")).toBe(false); // the run itself never began
});

test("ramp: given a sound site, then the run follows at the agreed rate, after cautions, a look and the ramp; traffic of others is insisted on", async () => {
  await using _stranger = await strangerOn("stand", "239.195.10.4");
  const told: RunProgress[] = [];
  const onProgress = (progress: RunProgress): void => void told.push(progress);
  const report = await bench.run(scenario, { parameters, onProgress, despite: ["traffic"] });
  expect(report.streams[0]?.rateBps).toBe(300e3);
  expect(receiptOf(report, "board", "kiosk").lost).toBe(0);
  expect(receiptOf(report, "board", "kiosk").foreign).toBeGreaterThan(0);
  const steps = told.flatMap((progress) => (progress.kind === "step" ? progress.text : []));
  const at = (text: string): number => steps.findIndex((step) => step.startsWith(text));
  expect(at("Before traffic goes onto a live site")).toBeGreaterThanOrEqual(0);
  expect(at("Looking for 2 s")).toBeGreaterThan(at("Before traffic goes onto a live site"));
  expect(at("Beginning with 10 packets/s")).toBeGreaterThan(at("Looking for 2 s"));
});

test("live site: given a group that test traffic must keep clear of, or a hold that proves nothing, then the request is refused", async () => {
  await expect(bench.run(scenario, { parameters: { ...parameters, group: "224.0.1.129" } })).rejects.toMatchObject({
    code: "GROUP_UNFIT",
  });
  const ageing = { source: "tower", members: "[kiosk]", hold: "20s" };
  await expect(bench.run(shippedScenario("ageing"), { parameters: ageing })).rejects.toMatchObject({
    code: "OPTION_INVALID",
  });
});

interface Stranger extends AsyncDisposable {
  /** The one that it sends to a group from; of IPv6 any link-local or unique local one (RFC 4291, RFC 4193). */
  readonly address: (group: string) => string;
}

/** Somebody else's traffic, of none of our programs. */
async function strangerOn(host: string, group: string, port?: number): Promise<Stranger> {
  const to = port === undefined ? {} : { port };
  const source = await startSource(bench.site, host, { group, packets: 3000, intervalMs: 20, ...to });
  return {
    address: (one) => (one.includes(":") ? "f[0-9a-f:]+" : bench.site.addressOf(host).ipv4),
    [Symbol.asyncDispose]: async () => {
      source.signal("SIGTERM");
      await source.exit;
    },
  };
}

/** The kernel counts test packets that come into the switch from that host, whatever we say of ourselves. */
async function countAtSwitch(host: string): Promise<AsyncDisposable & { readonly packets: () => Promise<number> }> {
  const port = bench.site.graph.outgoing.get(host)?.[0]?.to.port ?? "";
  const nft = async (...words: string[]): Promise<string> => {
    const { code, stdout, stderr } = await bench.site.exec("core", ["nft", ...words]);
    if (code !== 0) throw new Error(stderr);
    return stdout;
  };
  const device = bench.site.interfaceOf("core", port);
  await nft(
    `add table netdev wire; add chain netdev wire in { type filter hook ingress device ${device} priority 0; }; add rule netdev wire in udp dport 48620 counter`,
  );
  return {
    packets: async () => Number(/counter packets ([0-9]+)/.exec(await nft("list", "table", "netdev", "wire"))?.[1]),
    [Symbol.asyncDispose]: async () => void (await nft("delete", "table", "netdev", "wire")),
  };
}
