import { expect, test } from "vitest";
import { cautions } from "./cautions.ts";

test.each([
  [5e9, "5 s"],
  [600e9, "10 min"],
])("cautions: given a hold time of %i ns, then that is when a source without its controller stops", (holdNs, words) => {
  const scenario = { holdNs } as Parameters<typeof cautions>[0]["scenario"];
  const said = cautions({ streams: [], scenario, endNs: 3600e9 }, false, 0).join("\n");
  expect(said).toContain(`a source that loses its controller stops after ${words} at the latest`);
});

test("cautions: given a run that a test burst may follow, then its end is not called the end of all that is sent", () => {
  const run = { streams: [], scenario: { holdNs: 5e9 } as Parameters<typeof cautions>[0]["scenario"], endNs: 60e9 };
  expect(cautions(run, false, 0, [], true).join("\n")).toContain("all by 60 s, but for a test burst that may follow");
  expect(cautions(run, false, 0).join("\n")).not.toContain("burst");
});
