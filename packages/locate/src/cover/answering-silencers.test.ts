import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";

/** A source behind one router, members in its subnet, and a second router of that subnet which may answer for them. */
const SITE = sketchSite(["rt1--src", "rt1--core", "core--rt2", "core--h1", "core--h2", "core--h3"], "core");
const STREAM = { stream: "board", group: "233.252.0.1", source: "src", listeners: ["h1", "h2", "h3"], packets: 1_000 };

// RFC 7761, section 4.3: the designated router joins for the members of its subnet, and what it asks for comes to all of them.
test("answering router: given a subnet of which one member is silent and others are served, then it is no suspect", () => {
  const place = segmentBetween(SITE, "core", "h1");
  const [finding] = locate(
    SITE,
    simulateRun(SITE, [STREAM], [{ kind: "dead-segment", segment: place }], seededRandom(1)),
  ).findings;
  expect(finding?.suspects).toContain(place);
  expect(finding?.suspects).not.toContain("rt2");
});

test("answering router: given a subnet of which all members are silent, then it is a suspect", () => {
  const place = segmentBetween(SITE, "rt1", "core");
  const [finding] = locate(
    SITE,
    simulateRun(SITE, [STREAM], [{ kind: "dead-segment", segment: place }], seededRandom(1)),
  ).findings;
  expect(finding?.suspects).toContain(place);
  expect(finding?.suspects).toContain("rt2");
});
