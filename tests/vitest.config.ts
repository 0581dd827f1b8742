import { availableParallelism } from "node:os";
import { defineConfig } from "vitest/config";
import { asCompiled, COMPILED } from "./as-compiled.ts";
import { fieldWorkers } from "./field-workers.ts";
import { LongestFirst } from "./longest-first.ts";

const root = new URL("..", import.meta.url).pathname;

/** How long a poll goes on where the test names no time: programs start and end late on a busy machine. */
const POLL = { timeout: 30_000 };

/**
 * `unit` runs beside the code and in tests/conformance: pure, on all cores. `field` builds network namespaces and moves real
 * packets: mostly it waits for the kernel's timers, so several files run side by side, more than there are cores; each has
 * namespaces, ports and folders of its own. `browser` looks at the console with Debian's chromium, before the real
 * controller and a practice site.
 */
export default defineConfig({
  test: {
    root,
    reporters: ["default"],
    sequence: { sequencer: LongestFirst },
    projects: [
      {
        test: {
          name: "unit",
          server: { deps: { external: [COMPILED] } },
          root,
          include: [
            "packages/*/src/**/*.test.ts",
            "agent/src/**/*.test.ts",
            "controller/src/**/*.test.ts",
            "tests/conformance/**/*.test.ts",
            "tests/house/**/*.test.ts",
            "tests/simulation/**/*.test.ts",
          ],
          // Nothing here changes what other files see, so that modules are read once for all files of a thread.
          pool: "threads",
          isolate: false,
          maxWorkers: availableParallelism(),
          testTimeout: 60_000,
        },
      },
      {
        plugins: [asCompiled],
        test: {
          name: "field",
          server: { deps: { external: [COMPILED] } },
          root,
          include: ["tests/field/**/*.test.ts", "tests/faults/**/*.test.ts"],
          sequence: { groupOrder: 1 },
          globalSetup: "tests/bundled-programs.mjs",
          isolate: false,
          maxWorkers: fieldWorkers(),
          expect: { poll: POLL },
          testTimeout: 180_000,
          hookTimeout: 300_000,
        },
      },
      {
        // By hand alone: `npm test` runs the others.
        plugins: [asCompiled],
        test: {
          name: "packages",
          server: { deps: { external: [COMPILED] } },
          root,
          include: ["tests/packages/**/*.test.ts"],
          globalSetup: "tests/bundled-programs.mjs",
          testTimeout: 600_000,
          hookTimeout: 300_000,
        },
      },
      {
        plugins: [asCompiled],
        test: {
          name: "browser",
          server: { deps: { external: [COMPILED] } },
          root,
          include: ["tests/browser/**/*.test.ts"],
          sequence: { groupOrder: 2 },
          globalSetup: "tests/bundled-programs.mjs",
          isolate: false,
          maxWorkers: 3,
          expect: { poll: POLL },
          testTimeout: 180_000,
          hookTimeout: 120_000,
        },
      },
    ],
  },
});
