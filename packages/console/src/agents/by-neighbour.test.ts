import { expect, test } from "vitest";
import { byNeighbour } from "./by-neighbour.ts";

const node = (name: string, agent: string | null) => ({ name, kind: "host" as const, isQuerier: false, agent });
const link = (index: number, a: string, b: string) => ({
  index,
  a: { node: a, port: String(index) },
  b: { node: b, port: "eth0" },
  speedBps: null,
});
const drawing = {
  site: "site",
  nodes: [
    node("pier", null),
    node("hall", null),
    node("kiosk-2", "kiosk-2"),
    node("kiosk-1", "kiosk-1"),
    node("till", "till-agent"),
    node("loose", "loose"),
  ],
  links: [link(0, "pier", "kiosk-2"), link(1, "kiosk-1", "pier"), link(2, "hall", "till")],
};

test("byNeighbour: given agents of hosts, then they stand with what their host hangs on, the most first, and one without a link is said to be so", () => {
  expect(byNeighbour(["till-agent", "kiosk-2", "kiosk-1", "loose"], drawing)).toEqual([
    { neighbour: "pier", names: ["kiosk-1", "kiosk-2"] },
    { neighbour: "hall", names: ["till-agent"] },
    { neighbour: "no link on the plan", names: ["loose"] },
  ]);
});
