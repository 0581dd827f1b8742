import { XMLParser, XMLValidator } from "fast-xml-parser";
import { expect, test } from "vitest";
import { renderBatteryPage } from "../report/battery/html-battery.ts";
import { renderBattery } from "../report/battery/terminal-battery.ts";
import { junitOfBattery } from "../report/junit-comparison.ts";
import { type BatteryComparison, batteryVerdict } from "./battery-verdict.ts";
import type { Outcome } from "./comparison.ts";

const part = (scenario: string, outcome: Outcome, run = "aa"): BatteryComparison => ({
  scenario,
  comparison: {
    run,
    against: "bb",
    outcome,
    reason: `It is ${outcome}.`,
    excluded: "",
    isBarred: false,
    changes:
      outcome === "worse"
        ? [
            {
              what: "loss",
              stream: "board",
              outcome,
              listeners: ["kiosk"],
              places: ["core:1>kiosk:eth0"],
              because: "more",
            },
          ]
        : [],
    comparisons: [
      {
        what: "loss",
        stream: "board",
        listener: "kiosk",
        places: [],
        before: "0 %",
        after: "<2 %>",
        p: null,
        isMaterial: outcome === "worse",
        outcome,
        allows: null,
        allowsMs: null,
        isBarred: false,
        because: "counted",
      },
    ],
    notes: [],
  },
});

test("verdict: given parts, then the worst of them decides, and it is named", () => {
  const verdict = (...outcomes: Outcome[]) => batteryVerdict(outcomes.map((outcome, at) => part(`s${at}`, outcome)));
  expect(verdict("same", "worse", "cant-tell")).toMatchObject({
    outcome: "worse",
    reason: expect.stringContaining("s1"),
  });
  expect(verdict("same", "better", "cant-tell")).toMatchObject({ outcome: "cant-tell" });
  expect(verdict("same", "better")).toMatchObject({ outcome: "better" });
  expect(verdict("same", "same")).toEqual({ outcome: "same", reason: "All 2 scenarios went as before." });
});

test("JUnit: given two later runs, then the cases bear the same names, so that a trend can be drawn", () => {
  const names = (run: string): unknown => {
    const xml = junitOfBattery("Quillfen", [part("reach", "worse", run)], "2026-01-01T00:00:00.000Z");
    expect(XMLValidator.validate(xml)).toBe(true);
    const { testsuites } = new XMLParser({ ignoreAttributes: false }).parse(xml);
    const { testsuite } = testsuites;
    return [testsuites["@_name"], testsuite["@_name"], testsuite.testcase["@_classname"], testsuite.testcase["@_name"]];
  };
  expect(names("cc")).toEqual(names("dd"));
  expect(names("cc")).toEqual([
    "Quillfen: before and after a change",
    "reach",
    "Quillfen: before and after a change",
    "loss board kiosk",
  ]);
});

test("documents: given a part that got worse, then terminal and page name scenario, place and figures; words of others are no markup", () => {
  const parts = [part("reach", "same"), part("containment", "worse")];
  const verdict = batteryVerdict(parts);
  const text = renderBattery(verdict, parts, "core-fw", (words) => words);
  expect(text).toContain("worse: after the change, against core-fw");
  expect(text).toMatch(/reach {8}same/);
  expect(text).toContain("core:1>kiosk:eth0");
  const page = renderBatteryPage({
    site: "Quillfen",
    name: "core-fw",
    verdict,
    parts,
    comparedAt: "2026-01-01T00:00:00Z",
  });
  expect(page).toContain("core:1&gt;kiosk:eth0");
  expect(page).toContain("&lt;2 %&gt;");
});
