import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import fc from "fast-check";
import { expect, test } from "vitest";
import { hangUp, type SiteTree } from "../layout/site-tree.ts";
import { type ChannelWater, channelWaters } from "./channel-water.ts";
import type { HostWater } from "./host-water.ts";

/** source - core - east (e1, e2), core - west (w1, w2) */
function site(): SiteTree {
  const kind = (name: string) => (["core", "east", "west"].includes(name) ? "switch" : "host");
  const names = ["source", "core", "east", "west", "e1", "e2", "w1", "w2"];
  const nodes = names.map((name): SiteNode => ({ name, kind: kind(name), isQuerier: false, agent: null }));
  const pairs = [
    ["source", "core"],
    ["core", "east"],
    ["core", "west"],
    ["east", "e1"],
    ["east", "e2"],
    ["west", "w1"],
    ["west", "w2"],
  ] as const;
  const links = pairs.map(
    ([a, b], index): SiteLink => ({
      index,
      a: { node: a, port: `${index}` },
      b: { node: b, port: "up" },
      speedBps: null,
    }),
  );
  const tree = hangUp(buildSiteGraph("site", nodes, links), "source");
  if (tree === null) throw new Error("no tree");
  return tree;
}

const read = (hosts: Readonly<Record<string, HostWater>>) =>
  channelWaters(site(), ({ node }) => (node.name === "source" ? { kind: "source" } : (hosts[node.name] ?? null)));
const WHOLE: HostWater = { kind: "whole" };
const DRY: HostWater = { kind: "dry" };

test("channelWaters: given one switch's listeners got nothing and the others all, then that branch is dry from its first channel on", () => {
  const channels = read({ e1: DRY, e2: DRY, w1: WHOLE, w2: WHOLE });
  expect(channels.get("core")?.water).toBe("flows");
  expect(channels.get("east")).toEqual({ water: "dry", isFirst: true, isWayUnknown: false });
  expect(channels.get("e1")).toEqual({ water: "dry", isFirst: false, isWayUnknown: false });
  expect(channels.get("west")?.water).toBe("flows");
});

test("channelWaters: given one of two listeners of a switch got nothing, then its channel flows and only the listener's is dry", () => {
  const channels = read({ e1: DRY, e2: WHOLE, w1: WHOLE, w2: WHOLE });
  expect(channels.get("east")).toEqual({ water: "flows", isFirst: false, isWayUnknown: false });
  expect(channels.get("e1")).toEqual({ water: "dry", isFirst: true, isWayUnknown: false });
});

test("channelWaters: given all listeners of a switch lose and nobody else, then it thins first in that switch's channel", () => {
  const thins: HostWater = { kind: "thins", lossRatio: 0.05, lossClass: 3, isInterrupted: false, isHostsOwn: false };
  const channels = read({ e1: thins, e2: thins, w1: WHOLE, w2: WHOLE });
  expect(channels.get("east")).toEqual({ water: "thins", isFirst: true, isWayUnknown: false });
  expect(channels.get("e1")).toEqual({ water: "thins", isFirst: false, isWayUnknown: false });
  expect(channels.get("core")?.water).toBe("flows");
});

test("channelWaters: given frames at hosts that nobody asked for, then their channels seep; by design they only flow", () => {
  const leaks = read({
    e1: { kind: "uninvited", isByDesign: false },
    e2: { kind: "apart" },
    w1: WHOLE,
    w2: WHOLE,
  });
  expect(leaks.get("east")).toEqual({ water: "seeps", isFirst: true, isWayUnknown: false });
  expect(leaks.get("e2")?.water).toBe("closed");
  const design = read({ e1: { kind: "uninvited", isByDesign: true }, w1: WHOLE });
  expect(design.get("east")?.water).toBe("flows");
});

test("channelWaters: given an agent that does not tell, then its channel is unknown, never dry and never whole", () => {
  const channels = read({ e1: { kind: "unknown" }, e2: { kind: "unknown" }, w1: WHOLE, w2: WHOLE });
  expect(channels.get("east")?.water).toBe("unknown");
  expect(channels.get("e1")?.water).toBe("unknown");
});

test("channelWaters: given anything at all, then a channel flows wherever a listener below it received something", () => {
  const kinds: HostWater[] = [
    WHOLE,
    DRY,
    { kind: "thins", lossRatio: 0.1, lossClass: 3, isInterrupted: false, isHostsOwn: false },
    { kind: "thins", lossRatio: 0.1, lossClass: 3, isInterrupted: true, isHostsOwn: false },
    { kind: "waiting" },
    { kind: "unknown" },
    { kind: "apart" },
  ];
  const tree = site();
  const wet: readonly ChannelWater[] = ["flows", "thins", "breaks"];
  fc.assert(
    fc.property(fc.array(fc.constantFrom(...kinds), { minLength: 4, maxLength: 4 }), ([e1, e2, w1, w2]) => {
      const hosts = { e1, e2, w1, w2 } as Record<string, HostWater>;
      const channels = read(hosts);
      for (const [name, { kind }] of Object.entries(hosts)) {
        if (kind !== "whole" && kind !== "thins") continue;
        for (let at: string | null = name; at !== null; at = tree.byName.get(at)?.parent ?? null) {
          expect(wet).toContain(channels.get(at)?.water);
        }
      }
    }),
  );
});

test("channelWaters: given what is missing was dropped by the hosts themselves, or kept from their programs, then the channels to them flow", () => {
  const own: HostWater = { kind: "thins", lossRatio: 0.05, lossClass: 3, isInterrupted: false, isHostsOwn: true };
  const channels = read({ e1: own, e2: { kind: "blocked" }, w1: WHOLE, w2: WHOLE });
  expect(["east", "e1", "e2"].map((name) => channels.get(name)?.water)).toEqual(["flows", "flows", "flows"]);
});

test("channelWaters: given all listeners of a switch have outages, then its channel breaks; given one of them loses steadily, then it thins", () => {
  const outages: HostWater = { kind: "thins", lossRatio: 0.05, lossClass: 3, isInterrupted: true, isHostsOwn: false };
  expect(read({ e1: outages, e2: outages, w1: WHOLE, w2: WHOLE }).get("east")).toMatchObject({
    water: "breaks",
    isFirst: true,
  });
  const steady: HostWater = { ...outages, isInterrupted: false };
  expect(read({ e1: outages, e2: steady, w1: WHOLE, w2: WHOLE }).get("east")?.water).toBe("thins");
});

test("channelWaters: given the source says that it sent nothing, then it is dry itself", () => {
  const channels = channelWaters(site(), ({ node }) => (node.name === "source" ? { kind: "silent-source" } : DRY));
  expect(channels.get("source")?.water).toBe("dry");
  expect([...channels.values()].some(({ isFirst }) => isFirst)).toBe(false);
});
