import { expect, test } from "vitest";
import type { CompiledStream } from "../plan/compiled-run.ts";
import { planLookJoins } from "./look-joins.ts";

const streams = (count: number): CompiledStream[] =>
  Array.from(
    { length: count },
    (_, i) => ({ streamId: i + 1, group: `239.195.${i >> 8}.${i & 255}` }) as CompiledStream,
  );
const joinsOf = (look: ReturnType<typeof planLookJoins>, agent: string) =>
  (look.actions.get(agent) ?? [])
    .filter(({ kind }) => kind === "join")
    .map(({ atNs, streamId }) => [atNs / 1e9, streamId]);

test("planLookJoins: given no more than eight groups, then every agent joins all of them for the whole look", () => {
  const look = planLookJoins(
    streams(3),
    new Map([
      ["tower", 256],
      ["kiosk", 2],
    ]),
    10e9,
  );
  expect(joinsOf(look, "tower")).toEqual([
    [0, 1],
    [0, 2],
    [0, 3],
  ]);
  expect(joinsOf(look, "kiosk")).toEqual([
    [0, 1],
    [0, 2],
  ]);
  expect([look.endNs, look.unjoined]).toEqual([10e9, 0]);
});

test("planLookJoins: given more groups, then the others are shared out, eight at a time, and what nobody may join is told", () => {
  const two = new Map([
    ["tower", 256],
    ["kiosk", 12],
  ]);
  const look = planLookJoins(streams(40), two, 4e9);
  // 32 beyond the first eight: four at kiosk, whose host lets it join 12, and 28 at tower in four turns of 2 s.
  expect(joinsOf(look, "kiosk").map(([, id]) => id)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16]);
  const tower = joinsOf(look, "tower");
  expect(tower).toHaveLength(36);
  expect([...new Set(tower.map(([atS]) => atS))]).toEqual([0, 4, 6, 8, 10]);
  expect([look.endNs, look.unjoined]).toEqual([12e9, 0]);
  for (const [, actions] of look.actions) {
    let members = 0;
    for (const { kind } of actions) {
      members += kind === "join" ? 1 : -1;
      expect(members).toBeLessThanOrEqual(8);
    }
  }
  expect(planLookJoins(streams(300), two, 4e9).unjoined).toBe(300 - 8 - 4 - 64);
});

test("planLookJoins: given streams that share a group, then it is joined once", () => {
  const shared = streams(2).map((one) => ({ ...one, group: "239.195.0.0" }));
  expect(joinsOf(planLookJoins(shared, new Map([["tower", 256]]), 4e9), "tower")).toEqual([[0, 1]]);
});
