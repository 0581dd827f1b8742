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

test.each([
  ["a source", scenario(`${FOLLOWED}, source: tower`), '"source" belongs to a stream that is sent'],
  ["a rate", scenario(`${FOLLOWED}, rate: 1 Mbit/s`), '"rate" belongs to a stream that is sent'],
  ["no port", scenario("production: true, group: 239.196.4.7"), 'has no "port"'],
  ["a format that is none", scenario(`${FOLLOWED}, format: video`), "rtp, mpeg-ts, any"],
  ["an emission", scenario(FOLLOWED, "[ { at: 0s, emit: lobby }, { at: 1s, join: lobby } ]"), "never sent"],
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
