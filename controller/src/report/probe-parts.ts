import type { ProbeRun, RunReport } from "@dyetrace/wire";

/** What is said of a probe, in the report of either run. */
export interface ProbePart {
  readonly heading: string;
  readonly sentences: readonly string[];
}

/** In a probe's report: what it says of the run that it was made for. In that run's: what each of its probes said. */
export function probeParts({ probe }: RunReport, probes: readonly ProbeRun[]): ProbePart[] {
  return [
    ...(probe === undefined
      ? []
      : [
          {
            heading: `Probe of run ${probe.of}, finding ${probe.finding + 1}`,
            sentences: [`${probe.title}.`, `Suspects before: ${probe.before.join(", ")}.`, ...probe.evidence],
          },
        ]),
    ...probes.map((one) => ({
      heading: `Probed by run ${one.runId}${one.probe === null ? "" : `, finding ${one.probe.finding + 1}`}`,
      sentences:
        one.probe === null
          ? [one.state === "running" ? "It goes on." : "It brought no result."]
          : [`${one.probe.title}.`, ...one.probe.evidence],
    })),
  ];
}

/** The report for programs, with what its probes said. */
export const withProbes = (report: RunReport, probes: readonly ProbeRun[]): RunReport =>
  probes.length === 0 ? report : { ...report, probes };
