import { fileURLToPath } from "node:url";
import { type PracticeProcess, type PracticeSite, raisePracticeSite } from "@dyetrace/practice";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { siteOf } from "./group-traffic.ts";

const PLAN = siteOf({ core: "switch*", tower: "host", kiosk: "host" }, [
  "core:1 -- tower:eth0",
  "core:2 -- kiosk:eth0",
]);
const PROGRAM = fileURLToPath(new URL("../../agent/bin/dyetrace-agent.mjs", import.meta.url));

let site: PracticeSite;
beforeAll(async () => {
  site = await raisePracticeSite(PLAN);
});
afterAll(() => site.close());

/** `dyetrace-agent` in a node of the site, on the interface that the test is about. */
class Command {
  readonly output: string[] = [];
  readonly errors: string[] = [];
  #process: PracticeProcess | null = null;
  #wake: () => void = () => undefined;

  static async start(node: string, ...words: readonly string[]): Promise<Command> {
    const command = new Command();
    const argv = [process.execPath, PROGRAM, ...words, "--interface", site.addressOf(node).interfaceName];
    command.#process = await site.spawn(node, argv, {
      onLine: (line, stream) => {
        (stream === "stdout" ? command.output : command.errors).push(line);
        command.#wake();
      },
    });
    return command;
  }

  signal(name: NodeJS.Signals): void {
    this.#process?.signal(name);
  }

  async code(): Promise<number | null> {
    return (await this.#process?.exit)?.code ?? null;
  }

  /** Waits for a line on standard error. */
  async says(pattern: RegExp): Promise<void> {
    const deadline = Date.now() + 30_000;
    while (!this.errors.some((line) => pattern.test(line))) {
      if (Date.now() > deadline) throw new Error(`Never said ${pattern}: ${this.errors.join(" | ")}`);
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, 200);
        this.#wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
  }

  json(): Record<string, unknown>[] {
    return this.output.map((line) => JSON.parse(line) as Record<string, unknown>);
  }
}

const summaryOf = (command: Command): Record<string, unknown> => {
  const last = command.json().at(-1);
  if (last?.["kind"] !== "summary")
    throw new Error(`No summary: ${command.output.at(-1)} ${command.errors.join(" | ")}`);
  return last;
};

describe("send and listen: a pair with no controller", () => {
  test.each([
    ["linux", "239.195.30.1"],
    ["linux", "ff15::30:1"],
    ["portable", "239.195.30.2"],
  ])(
    "given %s sockets and %s, then listen counts what send sent, and Ctrl-C ends it with a summary",
    async (sockets, group) => {
      const listen = await Command.start("kiosk", "listen", group, "--json", "--sockets", sockets);
      await listen.says(/Joined/);
      const rate = ["--rate", "1 Mbit/s", "--payload", "500 B", "--duration", "2s"];
      const send = await Command.start(
        "tower",
        "send",
        group,
        "--json",
        "--allow-sending",
        "--sockets",
        sockets,
        ...rate,
      );
      expect(await send.code()).toBe(0);
      const sent = summaryOf(send);
      listen.signal("SIGINT");
      expect(await listen.code()).toBe(0);
      const { flows } = summaryOf(listen);
      expect(flows).toHaveLength(1);
      expect(flows).toMatchObject([
        {
          kind: "test",
          source: group.includes(":") ? expect.stringMatching(/^fe80:|^fd/) : site.addressOf("tower").ipv4,
          packets: sent["sentPackets"],
          lost: 0,
          hostLost: sockets === "linux" ? 0 : null,
          ttlMin: sockets === "linux" ? 1 : null,
        },
      ]);
      expect(sent["sentPackets"] as number).toBeGreaterThan(400);
      expect(listen.json().filter(({ kind }) => kind === "interval").length).toBeGreaterThanOrEqual(2);
    },
  );

  test("given that nobody confirmed, then send refuses with the cautions, and nothing is sent", async () => {
    const send = await Command.start("tower", "send", "239.195.30.3", "--duration", "1s");
    expect(await send.code()).toBe(2);
    expect(send.errors.join("\n")).toMatch(/consent/);
    expect(send.errors.at(-1)).toMatch(/--allow-sending/);
    expect(send.output).toEqual([]);
  });

  test("given a group in use, then send refuses and names the user; given --despite-traffic, then it sends", async () => {
    const first = await Command.start("kiosk", "send", "239.195.30.4", "--allow-sending", "--duration", "60s");
    await first.says(/Sending/);
    // The same group and port, the same group on another port, and one of the 32 groups that have its Ethernet address (RFC 1112 section 6.4).
    const tries = [
      [["239.195.30.4"], `239.195.30.4 is in use: this host saw [0-9]+ packets from ${site.addressOf("kiosk").ipv4}`],
      [["239.195.30.4", "--port", "5004"], "239.195.30.4 is in use.* port 48620"],
      [["239.67.30.4"], "239.67.30.4 has the Ethernet address 01:00:5e:43:1e:04 in common with 239.195.30.4"],
    ] as const;
    const trying = tries.map(async ([asked, what]) => {
      const refused = await Command.start("tower", "send", ...asked, "--allow-sending", "--duration", "1s");
      expect(await refused.code()).toBe(2);
      expect(refused.errors.at(-1)).toMatch(new RegExp(`${what}.*--despite-traffic.*GROUP_IN_USE`));
      expect(refused.output).toEqual([]);
    });
    await Promise.all(trying);
    const words = ["--allow-sending", "--despite-traffic", "--duration", "1s"];
    const sent = await Command.start("tower", "send", "239.195.30.4", ...words);
    expect(await sent.code()).toBe(0);
    first.signal("SIGINT");
    expect(await first.code()).toBe(0);
    expect(first.output.at(-1)).toMatch(/^stopped by hand: \d+ packets/);
  });

  test("given a group to which nothing is sent, then listen says so and exits with 1", async () => {
    const listen = await Command.start("kiosk", "listen", "239.195.30.5", "--duration", "1s");
    expect(await listen.code()).toBe(1);
    expect(listen.output.at(-1)).toMatch(/^Nothing arrived/);
  });
});

describe("listen: production streams", () => {
  /** Datagrams of seven transport stream packets of one PID (ISO/IEC 13818-1, 2.4.3.2); numbers 50, 150, … are not sent. */
  const source = (group: string, withRtp: boolean, address: string): string => `
    const socket = require("node:dgram").createSocket("udp4");
    socket.bind(0, () => {
      socket.setMulticastInterface(${JSON.stringify(address)});
      let number = 0;
      const timer = setInterval(() => {
        if (number === 400) { clearInterval(timer); socket.close(); return; }
        const ts = Buffer.alloc(7 * 188, number & 255);
        for (let i = 0; i < 7; i++) ts.set([0x47, 0x01, 0x00, 0x10 | ((number * 7 + i) & 15)], i * 188);
        const rtp = Buffer.alloc(12);
        rtp.set([0x80, 33]);
        rtp.writeUInt16BE((65500 + number) & 65535, 2); // wraps (RFC 3550, section 5.1)
        rtp.writeUInt32BE(number * 450, 4); // 5 ms of 90 kHz
        rtp.writeUInt32BE(7, 8);
        if (number % 100 !== 50) socket.send(${withRtp} ? Buffer.concat([rtp, ts]) : ts, 5004, ${JSON.stringify(group)});
        number++;
      }, 5);
    });`;

  test.each([
    ["RTP with MPEG-TS", "239.195.31.1", true, { kind: "rtp-with-ts", packets: 396, lost: 4, isLostExact: true }],
    // 7 packets of the PID are missing at each of 4 places; the 4-bit counter shows them all.
    ["MPEG-TS", "239.195.31.2", false, { kind: "ts", packets: 396, lost: 28, isLostExact: false }],
  ])(
    "given %s with a datagram missing at four places, then that is what listen tells",
    async (_, group, withRtp, expected) => {
      const listen = await Command.start("kiosk", "listen", group, "--port", "5004", "--json");
      await listen.says(/Joined/);
      const { code } = await site.exec("tower", [
        process.execPath,
        "-e",
        source(group, withRtp, site.addressOf("tower").ipv4),
      ]);
      expect(code).toBe(0);
      await new Promise((resolve) => setTimeout(resolve, 500));
      listen.signal("SIGINT");
      expect(await listen.code()).toBe(0);
      expect(summaryOf(listen)["flows"]).toMatchObject([{ ...expected, source: site.addressOf("tower").ipv4 }]);
    },
  );

  test("given unnumbered traffic, then rate and silence are told, and loss is unknown", async () => {
    const listen = await Command.start("kiosk", "listen", "239.195.31.3", "--port", "5004", "--json");
    await listen.says(/Joined/);
    const shout = `
      const socket = require("node:dgram").createSocket("udp4");
      socket.bind(0, () => {
        socket.setMulticastInterface(${JSON.stringify(site.addressOf("tower").ipv4)});
        let left = 20;
        const timer = setInterval(() => {
          socket.send("hello", 5004, "239.195.31.3");
          if (--left === 0) { clearInterval(timer); setTimeout(() => socket.close(), 50); }
        }, 20);
      });`;
    await site.exec("tower", [process.execPath, "-e", shout]);
    await new Promise((resolve) => setTimeout(resolve, 300));
    listen.signal("SIGINT");
    await listen.code();
    expect(summaryOf(listen)["flows"]).toMatchObject([
      { kind: "other", packets: 20, bytes: 100, lost: null, hostLost: null },
    ]);
  });
});

describe("check: what would spoil a test", () => {
  interface Check {
    readonly name: string;
    readonly status: string;
    readonly mend: string | null;
  }
  const checksOf = (command: Command): Map<string, Check> => {
    const checks = (command.json()[0]?.["checks"] ?? []) as Check[];
    return new Map(checks.map((check) => [check.name, check]));
  };

  test("given a healthy host, then nothing spoils", async () => {
    const check = await Command.start("kiosk", "check", "--json");
    expect(await check.code()).toBe(0);
    const checks = checksOf(check);
    expect([...checks.values()].filter(({ status }) => status === "spoils")).toEqual([]);
    expect(checks.get("interface")?.status).toBe("good");
    expect(checks.get("reverse-path filter")?.status).toBe("good");
  });

  test("given three settings that spoil, then each is told, and its command mends it", async () => {
    const { interfaceName } = site.addressOf("kiosk");
    const inKiosk = (command: string): Promise<unknown> => site.exec("kiosk", ["sh", "-c", command]);
    await inKiosk(
      `sysctl -qw net.ipv4.conf.${interfaceName}.rp_filter=1 net.ipv4.conf.${interfaceName}.force_igmp_version=2`,
    );
    await inKiosk("nft 'add table inet f; add chain inet f in { type filter hook input priority 0; policy drop; }'");
    const before = await Command.start("kiosk", "check", "--json");
    expect(await before.code()).toBe(1);
    const spoiling = [...checksOf(before)].filter(([, { status }]) => status === "spoils");
    expect(spoiling.map(([name]) => name)).toEqual(["reverse-path filter", "IGMP version", "firewall"]);
    for (const [, { mend }] of spoiling) await inKiosk(mend ?? "false");
    const after = await Command.start("kiosk", "check", "--json");
    expect(await after.code()).toBe(0);
    await inKiosk("nft flush ruleset");
  });
});
