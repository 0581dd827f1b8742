import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import fc from "fast-check";
import { expect, test } from "vitest";
import { type ChannelWater, channelWaters } from "./channel-water.ts";
import type { HostWater } from "./host-water.ts";
import { hangUp, type SiteTree } from "./layout/site-tree.ts";

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
  expect(channels.get("east")).toEqual({ water: "dry", isFirst: true });
  expect(channels.get("e1")).toEqual({ water: "dry", isFirst: false });
  expect(channels.get("west")?.water).toBe("flows");
});

test("channelWaters: given one of two listeners of a switch got nothing, then its channel flows and only the listener's is dry", () => {
  const channels = read({ e1: DRY, e2: WHOLE, w1: WHOLE, w2: WHOLE });
  expect(channels.get("east")).toEqual({ water: "flows", isFirst: false });
  expect(channels.get("e1")).toEqual({ water: "dry", isFirst: true });
});

test("channelWaters: given all listeners of a switch lose and nobody else, then it thins first in that switch's channel", () => {
  const thins: HostWater = { kind: "thins", lossRatio: 0.05 };
  const channels = read({ e1: thins, e2: thins, w1: WHOLE, w2: WHOLE });
  expect(channels.get("east")).toEqual({ water: "thins", isFirst: true });
  expect(channels.get("e1")).toEqual({ water: "thins", isFirst: false });
  expect(channels.get("core")?.water).toBe("flows");
});

test("channelWaters: given frames at hosts that nobody asked for, then their channels seep; by design they only flow", () => {
  const leaks = read({
    e1: { kind: "uninvited", isByDesign: false },
    e2: { kind: "apart" },
    w1: WHOLE,
    w2: WHOLE,
  });
  expect(leaks.get("east")).toEqual({ water: "seeps", isFirst: true });
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
    { kind: "thins", lossRatio: 0.1 },
    { kind: "waiting" },
    { kind: "unknown" },
    { kind: "apart" },
  ];
  const tree = site();
  const wet: readonly ChannelWater[] = ["flows", "thins"];
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
