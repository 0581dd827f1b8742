import { describeFault, Fault, loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
import { loadSitePlan } from "./load-site-plan.ts";

const site = loadSitePlan(
  `site: a
nodes:
  core: { kind: switch }
  tower: { kind: host }
  kiosk: { kind: host, agent: kiosk-agent }
  screen: { kind: host, agent: none }
links: [core:1 -- tower:e, core:2 -- kiosk:e, core:3 -- screen:e]
`,
  "plan.yaml",
);

/** The mark ▶ stands before the character that the fault must point at. */
const scenario = (source: string, agents: string): string => `scenario: reach
streams:
  - { name: a, source: ${source}, group: 239.195.0.1, rate: 1 Mbit/s, copies: 2 }
timeline:
  - { at: 0s, join: a, agents: ${agents}, repeat: { every: 1s, times: 3 } }
  - { at: 0s, emit: a }
  - { at: 5s, stop: a }
`;

test("checkScenarioAgainstSite: given agents that the plan has, then it is content", () => {
  expect(() =>
    checkScenarioAgainstSite(loadScenario(scenario("tower", "[kiosk-agent]"), "s.yaml"), site),
  ).not.toThrow();
  expect(() => checkScenarioAgainstSite(loadScenario(scenario("tower", "all"), "s.yaml"), site)).not.toThrow();
});

test.each([
  ["a source misspelt", scenario("▶towr", "all"), 'no agent "towr". Did you mean "tower"?'],
  [
    "a listener unlike any",
    scenario("tower", "[kiosk-agent, ▶zeppelin]"),
    'no agent "zeppelin". Agents: tower, kiosk-agent',
  ],
  ["a single listener without brackets", scenario("tower", "▶zeppelin"), 'no agent "zeppelin"'],
  [
    "a host instead of its agent",
    scenario("tower", "[▶kiosk]"),
    'The agent on the host "kiosk" is called "kiosk-agent"',
  ],
  ["a host without an agent", scenario("tower", "[▶screen]"), 'The plan says that the host "screen" carries none'],
  ["a switch", scenario("▶core", "all"), '"core" is no host: agents run on hosts'],
])(
  "checkScenarioAgainstSite: given %s, then the fault names the place in the scenario",
  (_what, markedText, fragment) => {
    const before = markedText.slice(0, markedText.indexOf("▶")).split("\n");
    let met: unknown = null;
    try {
      checkScenarioAgainstSite(loadScenario(markedText.replace("▶", ""), "s.yaml"), site);
    } catch (error) {
      met = error;
    }
    if (!(met instanceof Fault)) throw new Error("expected a Fault");
    expect(met.code).toBe("SCENARIO_INVALID");
    expect(describeFault(met)).toContain(`s.yaml:${before.length}:${(before.at(-1) ?? "").length + 1}: `);
    expect(describeFault(met)).toContain(fragment);
    expect(met.others).toEqual([]);
  },
);
