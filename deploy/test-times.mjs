/** A reporter of vitest's that writes down what `npm test` adds up: tests by their outcome, and how long each file took. */
import { writeFileSync } from "node:fs";

export default class TestTimes {
  onTestRunEnd(modules, unhandledErrors) {
    const files = modules.map((module) => {
      const tests = [...module.children.allTests()].map((test) => test.result().state);
      const count = (state) => tests.filter((one) => one === state).length;
      const failed = count("failed");
      return {
        name: module.moduleId,
        seconds: module.diagnostic().duration / 1000, // hooks among them
        passed: count("passed"),
        // A file whose own hooks failed has no test that did.
        failed: failed === 0 && module.state() === "failed" ? 1 : failed,
        skipped: count("skipped"),
      };
    });
    writeFileSync(process.env.DYETRACE_TEST_TIMES, JSON.stringify({ files, errors: unhandledErrors.length }));
  }
}
