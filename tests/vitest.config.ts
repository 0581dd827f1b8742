import { defineConfig } from "vitest/config";

/**
 * Three projects. `unit` runs beside the code and in tests/conformance: pure, parallel. `field` builds network
 * namespaces and moves real packets: one file at a time, so that two practice sites never compete for two cores.
 * `browser` looks at the console with Debian's chromium, before the real controller and a practice site.
 */
export default defineConfig({
  test: {
    root: new URL("..", import.meta.url).pathname,
    reporters: ["default"],
    projects: [
      {
        test: {
          name: "unit",
          root: new URL("..", import.meta.url).pathname,
          include: [
            "packages/*/src/**/*.test.ts",
            "agent/src/**/*.test.ts",
            "controller/src/**/*.test.ts",
            "tests/conformance/**/*.test.ts",
            "tests/house/**/*.test.ts",
          ],
          testTimeout: 60_000,
        },
      },
      {
        test: {
          name: "field",
          root: new URL("..", import.meta.url).pathname,
          include: ["tests/field/**/*.test.ts", "tests/faults/**/*.test.ts"],
          fileParallelism: false,
          // Real kernel timers on a machine that may be busy: one more try, which the summary shows.
          retry: 1,
          testTimeout: 180_000,
          hookTimeout: 120_000,
        },
      },
      {
        test: {
          name: "browser",
          root: new URL("..", import.meta.url).pathname,
          include: ["tests/browser/**/*.test.ts"],
          fileParallelism: false,
          testTimeout: 180_000,
          hookTimeout: 120_000,
        },
      },
    ],
  },
});
