import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { describeScenario, shippedScenarios } from "./shipped-scenarios.ts";

test("describeScenario: given parameters with and without defaults, then each says what it takes and what stands beside it", () => {
  const scenario = describeScenario(
    "sample.yaml",
    `scenario: sample
about: For this test.
parameters:
  source: # the agent that sends; must be set
  members: [left, right] # who joins
  rate: 2 Mbit/s
streams:
  - { name: board, source: $source, group: 233.252.0.1, rate: $rate }
timeline:
  - { at: 0s, join: board, agents: $members }
  - { at: 1s, emit: board }
  - { at: 2s, stop: board }
`,
  );
  expect(scenario).toMatchObject({ name: "sample", about: "For this test." });
  expect(scenario.parameters).toEqual([
    { name: "source", value: null, note: "the agent that sends; must be set", takes: "agent" },
    { name: "members", value: "[left, right]", note: "who joins", takes: "agents" },
    { name: "rate", value: "2 Mbit/s", note: "", takes: "text" },
  ]);
});

test("shippedScenarios: given every shipped file with an agent for each that it takes, then it loads", () => {
  const shipped = shippedScenarios();
  expect(shippedScenarios()).toBe(shipped); // read once, however often a viewer asks
  expect(shipped[0]?.name).toBe("reach");
  expect(shipped.length).toBeGreaterThan(4);
  for (const { text, parameters } of shipped) {
    const unset = parameters.filter(({ value }) => value === null);
    const set = Object.fromEntries(
      unset.map(({ name, takes }) => [name, takes === "agents" ? `[${name}-x]` : `${name}-x`]),
    );
    expect(loadScenario(text.text, text.file, { parameters: set }).scenario.streams.length).toBeGreaterThan(0);
  }
});
