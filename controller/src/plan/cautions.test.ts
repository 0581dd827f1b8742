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
