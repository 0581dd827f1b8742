import { expect, test } from "vitest";
import { Fault } from "../fault.ts";
import { loadScenario } from "./scenario-file.ts";

const scenario = (stream: string, timeline = "[ { at: 0s, join: lobby }, { at: 9s, leave: lobby } ]"): string =>
  `scenario: follow\nstreams:\n  - { name: lobby, ${stream} }\ntimeline: ${timeline}\n`;
const FOLLOWED = "production: true, group: 239.196.4.7, port: 5004";

function refusal(text: string): string {
  try {
    loadScenario(text, "follow.yaml");
    return "";
  } catch (error) {
    return error instanceof Fault ? `${error.place?.file}:${error.place?.line} ${error.message}` : String(error);
  }
}

test("loadScenario: given a stream of others, then nobody sends it and it lasts as long as its timeline", () => {
  const loaded = loadScenario(scenario(`${FOLLOWED}, from: encoder-1, format: rtp`), "follow.yaml").scenario;
  expect(loaded.streams).toMatchObject([{ source: "encoder-1", production: { from: "encoder-1", format: "rtp" } }]);
  expect(loaded.durationNs).toBe(9e9);
  const bare = loadScenario(scenario(FOLLOWED), "follow.yaml").scenario;
  expect(bare.streams).toMatchObject([{ source: "unknown sender", production: { from: null, format: null } }]);
});

test("loadScenario: given a stream of others that is only watched, then that is its whole timeline", () => {
  const text = scenario(FOLLOWED, "[ { at: 0s, watch: lobby, agents: [a] }, { at: 9s, leave: lobby, agents: all } ]");
  const { durationNs, timeline } = loadScenario(text, "follow.yaml").scenario;
  expect(durationNs).toBe(9e9);
  expect(timeline[0]).toMatchObject({ kind: "watch", stream: "lobby", agents: ["a"] });
});

test.each([
  ["a source", scenario(`${FOLLOWED}, source: tower`), '"source" belongs to a stream that is sent'],
  ["a rate", scenario(`${FOLLOWED}, rate: 1 Mbit/s`), '"rate" belongs to a stream that is sent'],
  ["no port", scenario("production: true, group: 239.196.4.7"), 'has no "port"'],
  ["a format that is none", scenario(`${FOLLOWED}, format: video`), "rtp, mpeg-ts, any"],
  ["an emission", scenario(FOLLOWED, "[ { at: 0s, emit: lobby }, { at: 1s, join: lobby } ]"), "never sent"],
  [
    "somebody who joins and only watches",
    scenario(FOLLOWED, "[ { at: 0s, join: lobby, agents: [a] }, { at: 1s, watch: lobby, agents: [a] } ]"),
    "does not only watch it",
  ],
  [
    "a stream of our own that is watched",
    scenario("source: tower, group: 239.195.1.1, rate: 1 Mbit/s", "[ { at: 0s, watch: lobby } ]"),
    "who does not join it watches in any case",
  ],
  ["nobody who joins", scenario(FOLLOWED, "[ { at: 0s, leave: lobby } ]"), "Nobody has joined"],
  [
    "a stream of our own beside it",
    scenario(`${FOLLOWED} }\n  - { name: own, source: tower, group: 239.195.1.1, rate: 1 Mbit/s`),
    "a run does one of the two",
  ],
  [
    "a sender of our own stream",
    scenario("source: tower, group: 239.195.1.1, rate: 1 Mbit/s, from: x"),
    "is followed and not sent",
  ],
])("loadScenario: given a followed stream with %s, then the mistake is named with its place", (_, text, words) => {
  expect(refusal(text)).toContain(words);
  expect(refusal(text)).toMatch(/follow\.yaml:\d/);
});
