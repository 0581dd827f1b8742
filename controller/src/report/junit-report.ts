import { type FindingEffect, findingKindFacts, type RunReport } from "@dyetrace/wire";
import { incidentCases, type JunitCase } from "./junit-incidents.ts";
import { type Markup, markup } from "./markup.ts";

/**
 * A run as test cases: one for the verdict's own conditions (each expectation), one for each finding, and one for each
 * receipt, so that a CI system shows which listener it was. The form is the common one of JUnit's XML; there is no
 * standard for it (common practice, no source).
 */
export function junitOfRun(report: RunReport): string {
  const expectations = report.expectations.map(
    ({ what, limit, measured, met, detail, undecided, applies }): JunitCase => {
      const name = limit === "none" ? `no ${what}` : `${what} at most ${limit}`;
      const doubt = undecided === undefined ? "" : "undecided, ";
      const unmeasured = applies === false ? "does not apply" : "not measured";
      const message = measured === null ? unmeasured : `${doubt}measured ${measured}`;
      const outcome =
        met === true
          ? ({ kind: "passed" } as const)
          : ({ kind: met === false ? "failed" : "skipped", message, detail } as const);
      return { suite: "expectations", name, outcome };
    },
  );
  const findings = report.findings.map(({ kind, title, evidence, suspects, advice }): JunitCase => {
    const outcome = OUTCOMES[findingKindFacts(kind).effect];
    const detail = [...evidence, advice].filter((line) => line !== "").join("\n");
    return {
      suite: "findings",
      name: `${kind}: ${suspects.join(", ") || report.site}`,
      outcome: outcome === "passed" ? { kind: outcome } : { kind: outcome, message: title, detail },
    };
  });
  const verdict: JunitCase = {
    suite: "verdict",
    name: "verdict",
    outcome:
      report.verdict === "pass"
        ? { kind: "passed" }
        : {
            kind: report.verdict === "fail" ? "failed" : report.verdict === "inconclusive" ? "skipped" : "error",
            message: report.reason,
            detail: report.notes.join("\n"),
          },
  };
  const seconds = (Date.parse(report.endedAt) - Date.parse(report.startedAt)) / 1000;
  const incidents = incidentCases(report);
  return junitDocument(`${report.site}: ${report.scenario}`, [verdict, ...expectations, ...findings, ...incidents], {
    timestamp: report.startedAt,
    seconds,
  });
}

/** As the finding weighs in the verdict: no case fails because of what the verdict lets pass. */
const OUTCOMES: Readonly<Record<FindingEffect, "failed" | "skipped" | "passed">> = {
  fails: "failed",
  "blames-host": "skipped",
  undecided: "skipped",
  informs: "passed",
};

/** @param name what the whole is called */
export function junitDocument(
  name: string,
  cases: readonly JunitCase[],
  { timestamp, seconds }: { readonly timestamp: string; readonly seconds: number },
): string {
  const suites = [...new Set(cases.map((one) => one.suite))];
  const document = markup`<?xml version="1.0" encoding="UTF-8"?>
<testsuites name="${name}" ${counts(cases)} time="${seconds.toFixed(3)}">
${suites.map((suite) => {
  const own = cases.filter((one) => one.suite === suite);
  return markup`  <testsuite name="${suite}" ${counts(own)} timestamp="${timestamp}" time="${seconds.toFixed(3)}">
${own.map((one) => renderCase(name, one))}  </testsuite>
`;
})}</testsuites>
`;
  return document.text;
}

function counts(cases: readonly JunitCase[]): Markup {
  const of = (kind: string): number => cases.filter((one) => one.outcome.kind === kind).length;
  return markup`tests="${cases.length}" failures="${of("failed")}" errors="${of("error")}" skipped="${of("skipped")}"`;
}

const ELEMENTS = { failed: "failure", error: "error", skipped: "skipped" } as const;

function renderCase(classname: string, { name, outcome }: JunitCase): Markup {
  if (outcome.kind === "passed" && outcome.detail !== undefined)
    return markup`    <testcase classname="${classname}" name="${name}">
      <system-out>${outcome.detail}</system-out>
    </testcase>
`;
  if (outcome.kind === "passed")
    return markup`    <testcase classname="${classname}" name="${name}"/>
`;
  const element = ELEMENTS[outcome.kind];
  return markup`    <testcase classname="${classname}" name="${name}">
      <${element} message="${outcome.message}">${outcome.detail}</${element}>
    </testcase>
`;
}
