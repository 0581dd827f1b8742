import type { ReportBystander, ReportExpectation, ReportFinding, ScenarioExpectation } from "@dyetrace/wire";

/**
 * Holds "no leaks" against what bystanders saw and what was made of it: frames by design are none. A bystander that could
 * not watch leaves the limit unknown, unless another one already breaks it.
 */
export function judgeLeaks(
  { leaks }: ScenarioExpectation,
  findings: readonly ReportFinding[],
  bystanders: readonly ReportBystander[],
): ReportExpectation[] {
  if (leaks !== "none") return [];
  const leaking = new Set(findings.filter(({ kind }) => kind === "leaks").flatMap(({ streams }) => streams));
  const blind = [...new Set(bystanders.filter(({ frames }) => frames === null).map(({ agent }) => agent))];
  const isBroken = leaking.size > 0;
  return [
    {
      what: "leaks",
      limit: "none",
      measured: isBroken ? [...leaking].slice(0, 3).join(", ") : blind.length > 0 ? null : "none",
      met: isBroken ? false : blind.length > 0 ? null : true,
      detail: blind.length === 0 ? "" : `Not known for ${blind.join(", ")}, which could not watch.`,
    },
  ];
}
