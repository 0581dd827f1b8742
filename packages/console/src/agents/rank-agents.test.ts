import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import { expect, test } from "vitest";
import { rankAgents, sayChecks, troublesInCommon } from "./rank-agents.ts";

const agent = (name: string, can: Partial<ConsoleAgent["capabilities"]>, isUp = true): ConsoleAgent =>
  ({
    name,
    version: "0.1.0",
    clock: null,
    capabilities: {
      watcher: true,
      kernelTimestamps: true,
      hostLossCount: true,
      ttlSeen: true,
      dscpSeen: true,
      destinationSeen: true,
      ssm: true,
      ipv6: true,
      interface: { name: "eth0", isUp },
      ...can,
    },
  }) as unknown as ConsoleAgent;

test("agents: given one whose interface is down and some that see less, then the worst come first and names by number", () => {
  const ranked = rankAgents(
    [
      agent("kiosk-10", {}),
      agent("kiosk-2", {}),
      agent("till", { watcher: false }),
      agent("desk", { watcher: false, ipv6: false }),
      agent("board", {}, false),
    ],
    "0.1.0",
  );
  expect(ranked.map(({ agent: one }) => one.name)).toEqual(["board", "desk", "till", "kiosk-2", "kiosk-10"]);
  expect(ranked.map(sayChecks)).toEqual([
    "1 of 8 checks to look at",
    "2 of 7 checks to look at",
    "1 of 7 checks to look at",
    "all 7 checks good",
    "all 7 checks good",
  ]);
  expect(troublesInCommon(ranked).map(({ trouble, names }) => [trouble.name, names])).toEqual([
    ["interface", ["board"]],
    ["watching", ["desk", "till"]],
    ["IPv6", ["desk"]],
  ]);
});
