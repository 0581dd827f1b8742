import { expect, test } from "vitest";
import { describeFault, Fault, faultCodeOf } from "./fault.ts";

test("describeFault: given a mistake in a file, then place, sentence, hint and code stand in one line", () => {
  const place = { file: "plan.yaml", line: 7, column: 3 };
  const fault = new Fault("SITE_PLAN_INVALID", 'no node is called "hal"', 'Did you mean "hall"?', { place });
  expect(describeFault(fault)).toBe('plan.yaml:7:3: no node is called "hal". Did you mean "hall"? [SITE_PLAN_INVALID]');
  expect(describeFault(new Fault("RUN_BUSY", "Run 1 is going on", ""))).toBe("Run 1 is going on [RUN_BUSY]");
});

test("faultCodeOf: given a code of this version, then that one; given anything else from outside, then INTERNAL", () => {
  expect(faultCodeOf("RUN_BUSY")).toBe("RUN_BUSY");
  for (const strange of ["SOMETHING_NEW", "", undefined, null, 5]) expect(faultCodeOf(strange)).toBe("INTERNAL");
});
