import { expect, test } from "vitest";
import { QuerierChanges } from "./querier-changes.ts";

/** @param heard who heard a query from which address, and when in s */
function told(heard: readonly (readonly [agent: string, address: string, atS: number])[]) {
  const changes = new QuerierChanges();
  for (const [agent, detail, atS] of heard) {
    const time = { fromNs: atS * 1e9, toNs: atS * 1e9 };
    changes.take({ kind: "query", agent, detail, streamId: null, count: 1, ...time });
  }
  return changes.episodes().map(({ agent, detail, fromNs, toNs }) => [agent, detail, fromNs / 1e9, toNs / 1e9]);
}

const [OLD, NEW] = ["192.0.2.1", "192.0.2.250"];

test("QuerierChanges: given a host that was away at a change and hears the new querier later, then that is the same change", () => {
  const heard = [
    ...([
      ["hall", OLD, 0],
      ["desk", OLD, 0],
      ["hall", NEW, 125],
    ] as const),
    ...([
      ["hall", NEW, 250],
      ["desk", NEW, 250],
    ] as const),
  ];
  const sentence = `Queries came from ${NEW} instead of ${OLD}`;
  expect(told(heard)).toEqual([
    ["hall", sentence, 125, 125],
    ["desk", sentence, 125, 125],
  ]);
});

test("QuerierChanges: given two queriers that ask in turn, then they are told as such", () => {
  const heard = [OLD, NEW, OLD, NEW].map((address, i) => ["hall", address, 125 * i] as const);
  expect(told(heard)).toEqual([["hall", `Queries came from ${OLD} and ${NEW} in turn: 3 changes`, 125, 375]]);
});
