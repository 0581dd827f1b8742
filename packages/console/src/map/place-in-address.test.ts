import { hangUp } from "@dyetrace/picture";
import { buildSiteGraph } from "@dyetrace/site";
import { expect, test } from "vitest";
import { findingOfAddress, placeInAddress, placeOfAddress } from "./place-in-address.ts";

const host = (name: string) => ({ name, kind: "host", isQuerier: false, agent: name }) as const;
const link = (index: number, b: string) => ({
  index,
  a: { node: "core", port: String(index) },
  b: { node: b, port: "eth0" },
  speedBps: null,
});
const graph = buildSiteGraph(
  "site",
  [{ name: "core", kind: "switch", isQuerier: true, agent: null }, host("tower"), host("kiosk")],
  [link(0, "tower"), link(1, "kiosk")],
);
const tree = hangUp(graph, "tower");

test("a place in an address: given a node and the channel to it, then each comes back as it was, and a channel also by the other direction's id", () => {
  if (tree === null) throw new Error("no tree");
  for (const on of ["node", "channel"] as const) {
    const text = placeInAddress({ node: "kiosk", on }, tree);
    expect(text).toBe(on === "node" ? "kiosk" : "core:1>kiosk:eth0");
    expect(placeOfAddress(text, tree)).toEqual({ node: "kiosk", on });
  }
  expect(placeOfAddress("kiosk:eth0>core:1", tree)).toEqual({ node: "kiosk", on: "channel" });
  expect(placeOfAddress("elsewhere", tree)).toBeNull();
  expect(placeOfAddress(null, tree)).toBeNull();
});

test("a finding in an address: counted from 1, and none that the report does not have", () => {
  expect([null, "0", "1", "2", "3", "x", "1e0"].map((text) => findingOfAddress(text, 2))).toEqual([
    null,
    null,
    0,
    1,
    null,
    null,
    null,
  ]);
});
