import type { ReportIncident } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { type Random, seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import type { Episode } from "../../store/pack/kept-report.ts";
import { findPatterns } from "./find-patterns.ts";

const HOUR_S = 3600;
const START_MS = Date.UTC(2026, 0, 1, 22);
const EVERY_S = 125; // RFC 3376, section 8.2

/** Any number by hand: `DYETRACE_SEED=7 DYETRACE_NIGHTS=20000 npm run unit -- find-patterns`. */
const SEED = Number(process.env["DYETRACE_SEED"] ?? "1");
const NIGHTS = Number(process.env["DYETRACE_NIGHTS"] ?? "200");

type Named = ReportIncident & { readonly name: string };

const incident = (atS: number, agent = "kiosk-1", kind: "loss" | "querier-change" = "loss", count = 1): Named => ({
  kind,
  fromMs: atS * 1000,
  toMs: atS * 1000 + 500,
  streams: ["board"],
  agents: [agent],
  suspects: [],
  count,
  title: "",
  name: `${kind}: ${agent}`,
});

const episode = (kind: Episode["kind"], fromS: number, toS = fromS): Episode => ({
  ...{ kind, agent: "kiosk-1", streamId: null, count: 1, detail: "" },
  ...{ fromNs: fromS * 1e9, toNs: toS * 1e9 },
});

/** Queries, two changes of the querier and two absences: everything that is looked at beside periods. */
function surroundings(lengthS: number, random: Random) {
  const queries = Array.from({ length: Math.floor(lengthS / EVERY_S) }, (_, i) => episode("query", 7 + i * EVERY_S));
  const away = [random(), random()].map((at) => episode("away", at * lengthS, at * lengthS + 20));
  const changes = [random(), random()].map((at) =>
    incident(7 + EVERY_S * Math.floor((at * lengthS) / EVERY_S), "kiosk-1", "querier-change"),
  );
  return { episodes: [...queries, ...away], changes };
}

const atRandom = (random: Random, many: number, lengthS: number): Named[] =>
  Array.from({ length: many }, () => incident(random() * lengthS, `kiosk-${1 + Math.floor(random() * 3)}`));

const sentencesOf = (troubles: readonly Named[], lengthS: number, random: Random): string[] => {
  const { episodes, changes } = surroundings(lengthS, random);
  return findPatterns([...troubles, ...changes], episodes, lengthS * 1e9, START_MS).map(({ sentence }) => sentence);
};

/** Larger than what is used, so that a few hundred nights can show it. */
const ALARM_LEVEL = 0.05;

test("findPatterns: given nights with 5 to 40 incidents at random times, half of them at whole seconds, then no more are given a pattern than the level says", () => {
  const random = seededRandom(SEED);
  let wrong = 0;
  for (let night = 0; night < NIGHTS; night++) {
    const lengthS = HOUR_S * (0.5 + 0.5 * random());
    const { episodes, changes } = surroundings(lengthS, random);
    const troubles = atRandom(random, 5 + Math.floor(random() * 36), lengthS).map((one) =>
      night % 2 === 0 ? one : { ...one, fromMs: Math.round(one.fromMs / 1000) * 1000 },
    );
    const found = findPatterns([...troubles, ...changes], episodes, lengthS * 1e9, START_MS, ALARM_LEVEL);
    for (const { p } of found) expect(p).toBeLessThan(ALARM_LEVEL);
    wrong += found.length > 0 ? 1 : 0;
  }
  expect(wrong).toBeLessThanOrEqual(ALARM_LEVEL * NIGHTS);
});

test("findPatterns: given 2 of 9 incidents of an hour that begin with the two changes of the querier, then that is no pattern, and 3 of 9 with three are one", () => {
  const times = [100, 400, 777, 1111, 1500, 1931, 2222, 2890, 3333].map((atS) => incident(atS));
  const changesAt = (atS: readonly number[]) => atS.map((at) => incident(at, "kiosk-2", "querier-change"));
  const patterns = (changes: readonly Named[]) => findPatterns([...times, ...changes], [], HOUR_S * 1e9, START_MS);
  expect(patterns(changesAt([400, 1931]))).toEqual([]);
  expect(patterns(changesAt([400, 1931, 2890])).map(({ sentence }) => sentence)).toEqual([
    expect.stringContaining("3 of 9 incidents begin together with a change of the querier"),
  ]);
});

test("findPatterns: given one fault that shows as four incidents which overlap at a query, then that is one occasion and no pattern", () => {
  const random = seededRandom(SEED);
  const atOnce = [1, 2, 3, 4].map((n) => incident(7 + 8 * EVERY_S + n / 10, `kiosk-${n}`));
  const others = [400, 1111, 1931, 2222, 2890].map((atS) => incident(atS));
  expect(sentencesOf([...atOnce, ...others], HOUR_S, random)).toEqual([]);
});

test.each([1, 2, 3, 4, 5])(
  "findPatterns: given what repeats every 47 s, every full hour or with each second query, among incidents at any time, then it is told, seed %i",
  (seed) => {
    const random = seededRandom(seed);
    const hours = Array.from({ length: 8 }, (_, hour) =>
      incident((hour + 1) * HOUR_S - 0.1 - random(), "lounge", "loss", 90),
    );
    const singles = atRandom(random, 20, 8 * HOUR_S);
    expect(sentencesOf([...hours, ...singles], 8 * HOUR_S, random)).toContain(
      "The 8 largest incidents repeat every full hour.",
    );
    const every = Array.from({ length: 70 }, (_, i) => incident(11 + 47 * i + random()));
    expect(sentencesOf([...every, ...atRandom(random, 10, HOUR_S)], HOUR_S, random).join()).toMatch(
      /^Incidents repeat every 4[67](\.\d+)? s/,
    );
    const asked = Array.from({ length: 14 }, (_, i) => incident(7.5 + 2 * EVERY_S * i));
    const sentences = sentencesOf([...asked, ...atRandom(random, 3, HOUR_S)], HOUR_S, random);
    expect(sentences).toContainEqual(expect.stringMatching(/^1[4-7] of 17 incidents begin together with a query/));
    const each = Array.from({ length: 28 }, (_, i) => incident(7.5 + EVERY_S * i));
    expect(sentencesOf([...each, ...atRandom(random, 3, HOUR_S)], HOUR_S, random)[0]).toContain(
      "which is the interval of queries",
    );
  },
);
