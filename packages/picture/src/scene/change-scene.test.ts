import { expect, test } from "vitest";
import type { ChannelWater } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { changeScene } from "./change-scene.ts";
import type { SiteScene } from "./site-scene.ts";

const scene = (waters: Readonly<Record<string, readonly [ChannelWater, HostWater]>>): SiteScene => ({
  channels: new Map(
    Object.entries(waters).map(([name, [water]]) => [name, { water, isFirst: false, isWayUnknown: false }]),
  ),
  hosts: new Map(Object.entries(waters).map(([name, [, host]]) => [name, host])),
  ratesBps: new Map(),
});

test("changeScene: given one host that went dry, then its channel alone is inked, with what was and what is", () => {
  const before = scene({ kiosk: ["flows", { kind: "whole" }], till: ["flows", { kind: "whole" }] });
  const after = scene({ kiosk: ["dry", { kind: "dry" }], till: ["flows", { kind: "whole" }] });
  const { scene: drawn, readings, changes } = changeScene(before, after);
  expect([drawn.channels.get("kiosk")?.water, drawn.channels.get("till")?.water]).toEqual(["dry", "closed"]);
  expect([...readings]).toEqual([["kiosk", "no loss, now got nothing"]]);
  expect([...drawn.hosts.keys()]).toEqual(["kiosk"]);
  expect(changes).toBe(2);
});

test("changeScene: given the same twice, then nothing is inked", () => {
  const same = scene({ kiosk: ["thins", { kind: "dry" }] });
  expect(changeScene(same, same).changes).toBe(0);
});
