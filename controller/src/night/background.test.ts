import { expect, test } from "vitest";
import { drawInteger, seededRandom } from "../../../tests/simulation/seeded-random.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { type Spell, steadyStretches } from "./background.ts";
import { QuerierChanges } from "./querier-changes.ts";
import { sumUp } from "./sum-up.ts";

const SECOND = 1e9;
const at = (atS: number): Spell => ({ fromNs: atS * SECOND, toNs: (atS + 0.1) * SECOND, times: 1 });

/** Pauses of an exponential distribution: losses that know nothing of each other. */
function chance(seed: number, meanS: number, untilS: number): Spell[] {
  const random = seededRandom(seed);
  const spells: Spell[] = [];
  for (let atS = 0; atS < untilS; atS += -Math.log(1 - random()) * meanS) spells.push(at(atS));
  return spells;
}

test("steadyStretches: given losses by chance once in 40 s for eight hours, then that is one stretch, whatever the seed", () => {
  for (const seed of [1, 2, 3, 4, 5]) {
    const spells = chance(seed, 40, 8 * 3600);
    expect({ seed, found: steadyStretches(spells, []) }).toEqual({ seed, found: [[0, spells.length - 1]] });
  }
});

test("steadyStretches: given what repeats every 125 s, or happens ten times a night, then that is no state", () => {
  expect(
    steadyStretches(
      Array.from({ length: 230 }, (_, i) => at(i * 125)),
      [],
    ),
  ).toEqual([]);
  expect(
    steadyStretches(
      Array.from({ length: 230 }, (_, i) => at(i * 60)),
      [],
    ),
  ).toEqual([]);
  const random = seededRandom(6);
  const ten = Array.from({ length: 10 }, () => drawInteger(random, 0, 28_800)).sort((a, b) => a - b);
  expect(steadyStretches(ten.map(at), [])).toEqual([]);
});

test("steadyStretches: given a pause in which the host did not measure, then the loss goes on beyond it; given one in which it did, then it is another", () => {
  const first = chance(7, 2, 600);
  const later = chance(8, 2, 600).map((one) => ({ ...one, fromNs: one.fromNs + 3000e9, toNs: one.toNs + 3000e9 }));
  const spells = [...first, ...later];
  const away: Episode = { kind: "away", agent: "a", streamId: null, fromNs: 600e9, toNs: 2999e9, count: 0, detail: "" };
  expect(steadyStretches(spells, [away])).toEqual([[0, spells.length - 1]]);
  expect(steadyStretches(spells, [])).toEqual([
    [0, first.length - 1],
    [first.length, spells.length - 1],
  ]);
});

const query = (agent: string, atS: number, detail: string): Episode => ({
  ...{ kind: "query", agent, streamId: null, fromNs: atS * SECOND, toNs: atS * SECOND, count: 1, detail },
});

function changesOf(...queries: Episode[]): readonly Episode[] {
  const changes = new QuerierChanges();
  for (const one of queries) changes.take(one);
  return changes.episodes();
}

test("QuerierChanges: given another address that asks from an instant on, then one change at each host; given another VLAN's, then none", () => {
  const told = changesOf(
    ...[0, 125].flatMap((atS) => ["a", "b"].map((agent) => query(agent, atS, "192.0.2.1"))),
    ...[250, 375].flatMap((atS) => ["a", "b"].map((agent) => query(agent, atS, "192.0.2.9"))),
  );
  expect(told.map(({ agent, fromNs, toNs, count }) => [agent, fromNs / SECOND, toNs / SECOND, count])).toEqual([
    ["a", 250, 250, 1],
    ["b", 250, 250, 1],
  ]);
  expect(told[0]?.detail).toBe("Queries came from 192.0.2.9 instead of 192.0.2.1");
  expect(changesOf(query("a", 0, "192.0.2.1"), query("a", 3, "192.0.2.9 20"), query("a", 125, "192.0.2.1"))).toEqual(
    [],
  );
  expect(changesOf(query("a", 0, "192.0.2.1"), query("a", 1, "fe80::1"), query("a", 125, "192.0.2.1"))).toEqual([]);
});

test("QuerierChanges: given two that ask in turn, then that is one thing from its beginning to its end", () => {
  const turns = Array.from({ length: 20 }, (_, i) => query("a", i * 60, i % 2 === 0 ? "192.0.2.1" : "192.0.2.9"));
  const [told, ...more] = changesOf(...turns);
  expect(more).toEqual([]);
  expect(told).toMatchObject({ fromNs: 60 * SECOND, toNs: 19 * 60 * SECOND, count: 19 });
});

test("sumUp: given more incidents than are kept, then those of the most frequent name are one line that says how many they are, and nothing is lost", () => {
  const incident = (host: string, atS: number) => ({
    ...{ kind: "loss", fromMs: atS * 1000, toMs: atS * 1000 + 500, streams: ["board"], agents: [host], suspects: [] },
    ...{ count: 3, withoutMs: 60, title: "board lost 3 packets" },
  });
  const often = Array.from({ length: 3000 }, (_, i) => incident("kiosk-1", 10 * i));
  const rare = Array.from({ length: 30 }, (_, i) => incident(`board-${i}`, 100 * i));
  const told = sumUp([...often, ...rare], "Quillfen");
  expect(told).toHaveLength(31);
  expect(told.reduce((sum, { times = 1 }) => sum + times, 0)).toBe(3030);
  expect(told.reduce((sum, { count }) => sum + count, 0)).toBe(3 * 3030);
  expect(told[0]).toMatchObject({ agents: ["kiosk-1"], times: 3000, fromMs: 0, toMs: 29_990_500, withoutMs: 180_000 });
  expect(told[0]?.startsMs).toHaveLength(1000);
});
