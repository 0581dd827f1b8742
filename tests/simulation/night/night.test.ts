import { expect, test } from "vitest";
import { findIncidents } from "../../../controller/src/night/find-incidents.ts";
import { openStore } from "../../../controller/src/store/store.ts";
import { judgeNight } from "./judge-night.ts";
import { drawNight, NIGHT_KINDS } from "./night-scene.ts";
import { storeNight } from "./play-night.ts";

/** Any number by hand: `DYETRACE_SEED=7 npm run unit -- tests/simulation/night`. tests/bench/soak/nights.bench.mjs plays many. */
const FIRST = Number(process.env["DYETRACE_SEED"] ?? "1");

test.each([
  { seed: FIRST, hours: 8, count: 40 },
  { seed: FIRST + 1, hours: 1, count: 27 },
])(
  "a night of $hours h with $count known incidents of nine kinds over steady loss at two hosts, seed $seed: all are told, at their times and places, and nothing else is",
  async ({ seed, hours, count }) => {
    const scene = drawNight(seed, count, hours * 3600);
    expect(new Set(scene.incidents.map(({ kind }) => kind))).toEqual(new Set(NIGHT_KINDS));
    await using store = await openStore({ kind: "memory" });
    await storeNight(store, scene, false);
    const told = await findIncidents(store, scene.run, scene.graph);
    const { missed, invented } = judgeNight(scene, told);
    expect({ seed, missed, invented }).toEqual({ seed, missed: [], invented: [] });
  },
);
