import path from "node:path";
import { BaseSequencer, type TestSpecification } from "vitest/node";

/**
 * Seconds that a file takes beside others on two cores, where it is many: files that begin last should be short, or everybody
 * waits for one. A file that is not here counts as short; a wrong figure costs time and nothing else.
 */
const SECONDS: Readonly<Record<string, number>> = {
  "tests/browser/whole-job.test.ts": 100,
  "tests/browser/drawn-plan.test.ts": 60,
  "tests/browser/console-journey.test.ts": 70,
  "tests/field/compare-runs.test.ts": 245,
  // Each has five sites at a time: they are kept apart, and away from the beginning, when every file raises its own.
  "tests/field/practice-faults/membership-messages.test.ts": 86,
  "tests/field/practice-faults/switches-and-ports.test.ts": 72,
  "tests/field/practice-faults/frames-on-a-segment.test.ts": 56,
  "tests/field/practice-faults/hosts.test.ts": 42,
  "tests/field/main-job.test.ts": 140,
  "tests/faults/soak-survival.test.ts": 220,
  "tests/faults/chaos.test.ts": 180,
  "tests/faults/hostile-clients.test.ts": 140,
  "tests/field/routed-site.test.ts": 140,
  "tests/field/command-line.test.ts": 135,
  "tests/field/agent-data-plane.test.ts": 130,
  "tests/field/routed-pim.test.ts": 125,
  "tests/field/losses.test.ts": 105,
  "tests/faults/stray-runs.test.ts": 100,
  "tests/field/membership-leaves.test.ts": 100,
  "tests/field/ends.test.ts": 95,
  "tests/field/queriers.test.ts": 130,
  "tests/field/companion.test.ts": 90,
  "tests/field/leaks.test.ts": 90,
  "tests/field/practice-site.test.ts": 85,
  "tests/field/probe.test.ts": 85,
  "tests/field/report-files.test.ts": 75,
  "tests/field/live-safety.test.ts": 70,
  "tests/field/membership-groups.test.ts": 70,
  "tests/field/operator-notes.test.ts": 65,
  "tests/field/routed-ring.test.ts": 65,
  "tests/faults/control-brakes.test.ts": 60,
  "tests/field/membership-ageing.test.ts": 60,
  "tests/faults/false-agent.test.ts": 55,
  "tests/field/loss-kinds.test.ts": 50,
  "tests/faults/clock-steps.test.ts": 45,
  "tests/field/unheard-queries.test.ts": 45,
  "tests/faults/failing-start.test.ts": 40,
  "tests/field/agent-commands.test.ts": 40,
};

/** Starts the longest files first, whatever an earlier run has left in a cache: each run is like the one on a fresh clone. */
export class LongestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const seconds = ({ moduleId }: TestSpecification): number =>
      SECONDS[path.relative(this.ctx.config.root, moduleId)] ?? 0;
    const order = ({ project }: TestSpecification): number => project.config.sequence.groupOrder;
    return files.toSorted(
      (a, b) => order(a) - order(b) || seconds(b) - seconds(a) || a.moduleId.localeCompare(b.moduleId),
    );
  }
}
