import { Fault, loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
import { loadSitePlan } from "./load-site-plan.ts";

/**
 * Anybody who may look may have a plan checked, so no text of a megabyte may take long: twice the text, about twice the
 * work. What is quadratic takes four times as long, and with the sizes here minutes, which the test's own time does not allow.
 */
const WITHIN_MS = 30_000;
const HEAD = "site: Quillfen\nnodes:\n  core: { kind: switch, querier: true }\n";
const NAMES = Array.from({ length: 12_000 }, (_, i) => `host${i}`);
const HOSTS = NAMES.map((name) => `  ${name}: { kind: host }\n`).join("");
const spaces = " ".repeat(900_000);
const digits = "1".repeat(900_000);
const pairOf = "  tower: { kind: host }\n  kiosk: { kind: host }\n";
const links = (text: string): string => `${HEAD}${pairOf}links: [${text}]\n`;

const read = (text: string): Fault | null => {
  try {
    loadSitePlan(text, "plan.yaml");
    return null;
  } catch (error) {
    if (error instanceof Fault) return error;
    throw error;
  }
};

test.each<[string, string, RegExp | null]>([
  ["12,000 hosts", `${HEAD}${HOSTS}links:\n${NAMES.map((name, i) => `  - core:${i} -- ${name}:e\n`).join("")}`, null],
  [
    "12,000 switches in a row, the far end first",
    `${HEAD}${HOSTS.replaceAll("host }", "switch }")}  tower: { kind: host }\nlinks:\n  - host0:9 -- tower:e\n${NAMES.slice(
      1,
    )
      .map((name, i) => `  - host${i}:2 -- ${name}:1\n`)
      .toReversed()
      .join("")}  - core:1 -- host0:8\n`,
    null,
  ],
  ["900,000 spaces in a link", links(`"core:1${spaces}x"`), /is not a link/],
  ["a link of 900,000 spaces and no dashes", links(`"${spaces}"`), /is not a link/],
  ["a speed of 900,000 digits", links(`{ between: [core:1, tower:e], speed: "${digits} x y" }`), /is not a rate/],
  [
    "20,000 links to nodes that are misspelt",
    `${HEAD}${HOSTS}links:\n${NAMES.map((name, i) => `  - core:${i} -- ${name}x:e\n`).join("")}`,
    /No node is called/,
  ],
])("loadSitePlan: given %s, then it is read or refused soon", { timeout: WITHIN_MS }, (_what, text, says) => {
  const fault = read(text);
  if (says === null) expect(fault).toBeNull();
  else expect(fault?.message).toMatch(says);
  expect(fault?.message.length ?? 0).toBeLessThan(300);
});

test.each<[string, string, string]>([
  ["a duration of 900,000 digits", `"${digits} x y"`, "all"],
  ["900,000 spaces after the membership interval", `"membership-interval +${spaces}\\n x"`, "all"],
  [
    "5,000 listeners that are misspelt",
    "5s",
    `[${NAMES.slice(0, 5000)
      .map((name) => `${name}x`)
      .join(", ")}]`,
  ],
])(
  "loadScenario and checkScenarioAgainstSite: given %s, then it is refused soon",
  { timeout: WITHIN_MS },
  (_what, stop, agents) => {
    const few = NAMES.slice(0, 2000);
    const hosts = few.map((name) => `  ${name}: { kind: host }\n`).join("");
    const site = loadSitePlan(
      `${HEAD}${hosts}links:\n${few.map((name, i) => `  - core:${i} -- ${name}:e\n`).join("")}`,
      "plan.yaml",
    );
    const text = `scenario: s
streams: [ { name: a, source: host1, group: 239.195.0.1, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: a, agents: ${agents} }
  - { at: 0s, emit: a }
  - { at: ${stop}, stop: a }
`;
    expect(() => checkScenarioAgainstSite(loadScenario(text, "s.yaml"), site)).toThrow(Fault);
  },
);
