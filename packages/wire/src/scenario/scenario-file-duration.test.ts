import { expect, test } from "vitest";
import { Fault } from "../fault.ts";
import { loadScenario } from "./scenario-file.ts";
import { parseScenarioDurationNs } from "./scenario-file-duration.ts";

const AGEING = `scenario: ageing
parameters: { hold: membership-interval + 15s }
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 4 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [kiosk-1] }
  - { at: 1s, emit: board }
  - { after: $hold, stop: board }
`;
const load = (options: Parameters<typeof loadScenario>[2] = {}) =>
  loadScenario(AGEING, "ageing.yaml", options).scenario;

test("parseScenarioDurationNs: given the membership interval with or without more, then it stands for the site's own", () => {
  expect(parseScenarioDurationNs("30s", 12e9)).toBe(30e9);
  expect(parseScenarioDurationNs("membership-interval", 12e9)).toBe(12e9);
  expect(parseScenarioDurationNs("membership-interval + 500ms", 12e9)).toBe(12.5e9);
  for (const wrong of ["membership-interval plus 5s", "membership-interval + 5", "membership-intervals"]) {
    expect(() => parseScenarioDurationNs(wrong, 12e9)).toThrow(Fault);
  }
});

test("loadScenario: given no figure of the site's, then the membership interval is RFC 3376's 260 s", () => {
  expect(load().durationNs).toBe(1e9 + 260e9 + 15e9); // RFC 3376, section 8.4
  expect(load().usesMembershipInterval).toBe(true);
});

test("loadScenario: given the site's own interval, then it counts", () => {
  expect(load({ membershipIntervalNs: 21e9 }).durationNs).toBe(37e9);
});

test("loadScenario: given a hold set below the membership interval, then the scenario says that it was shortened", () => {
  expect(load().shortened).toEqual([]);
  expect(load({ parameters: { hold: "5s" } })).toMatchObject({ shortened: ["hold"], usesMembershipInterval: false });
  expect(load({ parameters: { hold: "5s" }, membershipIntervalNs: 4e9 }).shortened).toEqual([]);
  expect(load({ parameters: { hold: "membership-interval + 2s" } }).shortened).toEqual([]);
});
