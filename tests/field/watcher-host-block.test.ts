import { writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type TestHost, until, WatcherNetwork } from "./watcher-network.ts";

/**
 * What the explanation says is held against what the kernel does with the same rules: packets that reach the network
 * card (the watcher's count) and the socket (a plain one).
 */
const RUN_ID = "00000000d1e7ace0";
const PORT = 48_620;
const GROUP = "233.252.0.1";
const STREAM = { family: 4, direction: "in", protocol: "udp", destination: GROUP, destinationPort: PORT };

let network: WatcherNetwork;
let source: TestHost;
let listener: TestHost;

beforeAll(async () => {
  network = new WatcherNetwork([]); // no querier: the switch floods, and who is a member does not matter
  source = network.addHost("source");
  listener = network.addHost("listener");
  await listener.ask("open");
  await listener.ask("listen", { group: GROUP, port: PORT });
});
afterAll(() => network.close());

/** Sends 20 packets past the rules. @returns how many the socket got, and the explanation */
async function tryOut(): Promise<{ readonly packets: unknown; readonly sentence: unknown }> {
  await listener.ask("watch", { runId: RUN_ID, streams: [{ streamId: 1, group: GROUP, port: PORT }] });
  await listener.ask("received");
  await source.ask("send", { group: GROUP, port: PORT, runId: RUN_ID, streamId: 1, first: 0, last: 19, perTick: 20 });
  let frames = 0;
  await until("20 frames at the network card", async () => {
    frames += (await listener.snapshot())?.streams[0]?.frames ?? 0;
    return frames === 20 ? true : null;
  });
  const { sentence } = await listener.ask("explain", { packet: { ...STREAM, source: source.address } });
  return { packets: (await listener.ask("received"))["packets"], sentence };
}

function setRules(ruleset: string): void {
  const file = join(tmpdir(), `dyetrace-rules-${process.pid}.nft`);
  writeFileSync(file, `flush ruleset\n${ruleset}\n`);
  listener.exec("nft", "-f", file);
}

const input = (...rules: readonly string[]): string =>
  `table inet filter {
    set ports { type inet_service; flags interval; elements = { 100-200, ${PORT} }; }
    chain other { ip saddr 192.0.2.1 drop; }
    chain input { type filter hook input priority 0; policy accept; ${rules.join("; ")}; }
  }`;

const closed = (...rules: readonly string[]): string =>
  `table inet filter { chain input { type filter hook input priority 0; policy drop; ${rules.join("; ")}; }; }`;

describe("nftables on the listening host", () => {
  test("given no rules, then every packet arrives and nothing is blamed", async () => {
    setRules("");
    expect(await tryOut()).toEqual({ packets: 20, sentence: null });
  });

  test.each([
    ["a port", input(`udp dport ${PORT} drop`), `udp dport ${PORT} drop`],
    ["a set of ports", input(`ip daddr 224.0.0.0/4 udp dport { ${PORT}, 5000-5010 } counter drop`), "5000-5010"],
    ["a named set", input("udp dport @ports drop"), "udp dport @ports drop"],
    ["a group", input(`iifname "eth*" ip daddr ${GROUP} drop`), `ip daddr ${GROUP} drop`],
    ["multicast as such", input("fib daddr type multicast drop"), "fib daddr type multicast drop"],
    ["UDP as such", input("meta l4proto udp drop"), "chain input: meta l4proto"],
    ["all but a list of ports", input("udp dport != { 53, 5353 } drop"), "udp dport != { 53, 5353 } drop"],
    ["a source, behind a jump", input(`udp dport ${PORT} jump other`), "chain other: ip saddr 192.0.2.1 drop"],
    [
      "what no rule accepted",
      closed("ct state established,related accept", "iif lo accept", "udp dport 53 accept"),
      "policy drop",
    ],
    [
      "the network card's ingress",
      `table netdev early { chain in { type filter hook ingress device eth0 priority 0; ip daddr ${GROUP} drop; }; }`,
      "table netdev early",
    ],
    [
      "an IPv4 table before routing",
      `table ip raw { chain pre { type filter hook prerouting priority -300; ip daddr ${GROUP} drop; }; }`,
      "table ip raw, chain pre",
    ],
  ])("given rules that drop %s, then nothing arrives and the rule is named", async (_, ruleset, rule) => {
    setRules(ruleset);
    const { packets, sentence } = await tryOut();
    expect(packets).toBe(0);
    expect(sentence).toContain(`firewall drops UDP to ${GROUP} port ${PORT}`);
    expect(sentence).toContain(rule);
  });

  test.each([
    ["another port", input("udp dport 5004 drop")],
    ["another group", input("ip daddr 233.252.0.2 drop")],
    ["IPv6", "table ip6 filter { chain input { type filter hook input priority 0; policy drop; }; }"],
    ["TCP and IGMP", input("tcp dport 1-65535 drop", "ip protocol igmp drop")],
    ["what was accepted before", input(`udp dport ${PORT} accept`, "meta l4proto udp drop")],
    [
      "all others, this one being let through",
      closed(`ip daddr 224.0.0.0/4 udp dport @p accept`).replace(
        "chain input",
        `set p { type inet_service; elements = { ${PORT} }; }; chain input`,
      ),
    ],
    ["what came by another interface", input('iifname "lo" drop')],
    ["what leaves", `table inet filter { chain out { type filter hook output priority 0; policy drop; }; }`],
    [
      "other interfaces' ingress",
      `table netdev early { chain in { type filter hook ingress device lo priority 0; ip daddr ${GROUP} drop; }; }`,
    ],
  ])("given rules that drop %s, then every packet arrives and nothing is blamed", async (_, ruleset) => {
    setRules(ruleset);
    expect(await tryOut()).toEqual({ packets: 20, sentence: null });
  });

  test("given a rule whose condition we don't judge, then it is said to be possible only", async () => {
    setRules(input("udp sport != 0 udp length > 20 drop"));
    const { packets, sentence } = await tryOut();
    expect(packets).toBe(0);
    expect(sentence).toContain("firewall may drop");
    expect(sentence).toContain("udp length > 20 drop");
    setRules(closed(`udp dport ${PORT} limit rate 100000/second accept`));
    expect((await tryOut()).sentence).toContain("may drop");
  });

  test("given rules against IGMP, then queries kept from the host and reports kept from the wire are explained", async () => {
    const packet = { family: 4, protocol: "igmp", destination: "224.0.0.1", source: null, destinationPort: null };
    setRules(input("ip protocol igmp drop"));
    const query = await listener.ask("explain", { packet: { ...packet, direction: "in" } });
    expect(query["sentence"]).toContain("drops IGMP messages");
    expect((await listener.ask("explain", { packet: { ...packet, direction: "out" } }))["sentence"]).toBeNull();
    setRules(
      "table ip filter { chain out { type filter hook output priority 0; policy accept; meta l4proto igmp drop; }; }",
    );
    const report = await listener.ask("explain", {
      packet: { ...packet, direction: "out", destination: "224.0.0.22" },
    });
    expect(report["sentence"]).toContain("table ip filter, chain out: meta l4proto");
    // and so it is: the watcher sees no report leave
    await listener.ask("join", { group: "239.195.3.1" });
    await new Promise((resolve) => setTimeout(resolve, 1500)); // both reports are due within a second (RFC 3376 8.11)
    const heard = (await listener.snapshot())?.membership ?? [];
    expect(heard.filter(({ direction, message }) => direction === "out" && message.family === 4)).toEqual([]);
    setRules("");
    await listener.ask("join", { group: "239.195.3.2" });
    await listener.hear("a report", [], ({ direction, message }) => direction === "out" && message.family === 4);
  });
});

describe("the reverse-path filter", () => {
  const setFilter = (mode: number): void => {
    listener.exec("sysctl", "-qw", `net.ipv4.conf.all.rp_filter=${mode}`, "net.ipv4.conf.eth0.rp_filter=0");
  };

  test("given a source that the host has no route to, then the filter and its count are named", async () => {
    source.exec("ip", "addr", "add", "198.51.100.1/32", "dev", "eth0");
    source.exec("ip", "route", "add", "233.252.0.0/24", "dev", "eth0", "src", "198.51.100.1");
    source.exec("ip", "addr", "del", `${source.address}/24`, "dev", "eth0");
    source.address = "198.51.100.1";
    setFilter(1);
    const strict = await tryOut();
    expect(strict.packets).toBe(0);
    expect(strict.sentence).toContain("strict, 1) dropped 20 packets");
    expect(strict.sentence).toContain("198.51.100.1");
    setFilter(0);
    expect(await tryOut()).toEqual({ packets: 20, sentence: null });
  });
});
