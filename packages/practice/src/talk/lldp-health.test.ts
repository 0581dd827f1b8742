import { expect, test } from "vitest";
import { LldpHealth } from "./lldp-health.ts";

const there = { isSnmpdThere: true, lldpd: "there" } as const;
const missing = { isSnmpdThere: true, lldpd: "missing" } as const;
const silent = { isSnmpdThere: true, lldpd: null } as const;

test("given one refusal between good answers, then nothing is lost; given two in a row, then it is", () => {
  const health = new LldpHealth();
  expect([there, missing, there, missing].map((one, at) => health.hear(one, at * 1_500))).not.toContain(true);
  expect(health.hear(missing, 6_000)).toBe(true);
});

test("given an snmpd that answers while its lldpd says nothing, then that is lost at the fourth time", () => {
  const health = new LldpHealth();
  expect([silent, silent, silent, silent].map((one, at) => health.hear(one, at * 1_500))).toEqual([
    false,
    false,
    false,
    true,
  ]);
});

test("given that it stays lost, then it is said after 6 s, 12 s, 24 s; given that it came back, then after 6 s again", () => {
  const health = new LldpHealth();
  const said: number[] = [];
  for (let second = 0; second < 60; second++) if (health.hear(missing, second * 1_000)) said.push(second);
  expect(said).toEqual([1, 7, 19, 43]);
  health.hear(there, 100_000);
  const after: number[] = [];
  for (let second = 101; second < 115; second++) if (health.hear(missing, second * 1_000)) after.push(second);
  expect(after).toEqual([102, 108]);
});
