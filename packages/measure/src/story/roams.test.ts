import { expect, test } from "vitest";
import { movesIn, roamRemarks } from "./roams.ts";

const HALL = "02:00:00:00:00:0a";
const PIER = "02:00:00:00:00:0b";
const sight = (atS: number, bssid: string | null) => ({ atNs: atS * 1e9, bssid });

test("moves: given sights, then a move is from one access point to another; a time without any between two of the same is none", () => {
  expect(movesIn([sight(1, HALL), sight(2, HALL), sight(3, null), sight(4, HALL)])).toEqual([]);
  expect(movesIn([sight(1, null), sight(2, HALL), sight(3, null), sight(5, PIER), sight(9, HALL)])).toEqual([
    { atNs: 5e9, from: HALL, to: PIER },
    { atNs: 9e9, from: PIER, to: HALL },
  ]);
});

test("story: given moves, then each stands at its time on the station's lane, of no group, with the plan's names where it has them", () => {
  const names = new Map([[HALL, "hall-ap"]]);
  const remarks = roamRemarks("tablet", movesIn([sight(1, HALL), sight(5, PIER)]), (bssid) => names.get(bssid) ?? null);
  expect(remarks).toEqual([
    {
      kind: "roamed",
      lane: "tablet",
      group: null,
      atMs: 5_000,
      sentence: `tablet roamed from hall-ap to ${PIER}, which the plan has not.`,
    },
  ]);
});
