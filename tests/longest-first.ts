import path from "node:path";
import { BaseSequencer, type TestSpecification } from "vitest/node";

/**
 * Seconds that files take on two idle cores, where it is many: files that begin last should be short, or everybody waits for
 * one. A file that is not here counts as short; a wrong figure costs time and nothing else.
 */
const SECONDS: Readonly<Record<string, number>> = {
  "tests/browser/console-journey.test.ts": 100,
  "tests/field/main-job.test.ts": 300,
  "tests/field/compare-runs.test.ts": 240,
  "tests/faults/soak-survival.test.ts": 150,
  "tests/faults/hostile-clients.test.ts": 140,
  "tests/field/losses.test.ts": 130,
  "tests/field/routed-site.test.ts": 117,
  "tests/field/agent-data-plane.test.ts": 107,
  "tests/field/membership-leaves.test.ts": 100,
  "tests/faults/control-brakes.test.ts": 75,
  "tests/field/routed-pim.test.ts": 75,
  "tests/field/leaks.test.ts": 70,
  "tests/field/membership-groups.test.ts": 60,
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
