import { defineConfig } from "vitest/config";

const root = new URL("../../..", import.meta.url).pathname;

/** Not part of `npm test`: it measures this machine and asserts nothing. */
export default defineConfig({
  test: {
    root,
    reporters: ["default"],
    include: ["tests/bench/console/*.bench.ts"],
    testTimeout: 300_000,
    hookTimeout: 120_000,
  },
});
