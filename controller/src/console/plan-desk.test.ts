import type { RunReport } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import { afterEach, expect, test } from "vitest";
import { PlanDesk } from "./plan-desk.ts";

const planOf = (hosts: number): { file: string; text: string } => {
  const names = Array.from({ length: hosts }, (_, i) => `host${i}`);
  const nodes = names.map((name) => `  ${name}: { kind: host }\n`).join("");
  const links = names.map((name, i) => `  - core:${i} -- ${name}:e\n`).join("");
  return {
    file: "plan.yaml",
    text: `site: Quillfen\nnodes:\n  core: { kind: switch, querier: true }\n${nodes}links:\n${links}`,
  };
};
let desk = new PlanDesk();
afterEach(() => desk.close());

test("PlanDesk: given a plan and one with a mistake, then each gets its answer", async () => {
  desk = new PlanDesk();
  const [good, bad] = await Promise.all([
    desk.ask<PlanAnswer>({ kind: "plan", text: planOf(3) }),
    desk.ask<PlanAnswer>({ kind: "plan", text: { file: "plan.yaml", text: "site: [" } }),
  ]);
  expect([good.kind, bad.kind]).toEqual(["plan", "mistakes"]);
});

test("PlanDesk: given a question that takes too long, then it is refused, nothing else is held up meanwhile, and the next is answered", async () => {
  desk = new PlanDesk(1500);
  const long = desk.ask<PlanAnswer>({ kind: "plan", text: planOf(12_000) });
  const refused = expect(long).rejects.toMatchObject({ code: "TOO_MANY" });
  let turns = 0;
  const counting = setInterval(() => turns++, 5);
  await refused;
  clearInterval(counting);
  expect(turns).toBeGreaterThan(5); // the loop went round while the thread was at it
});

test("PlanDesk: given more questions than may wait, then those beyond are refused at once", async () => {
  desk = new PlanDesk();
  const asked = Array.from({ length: 40 }, () => desk.ask<PlanAnswer>({ kind: "plan", text: planOf(2) }));
  const outcomes = await Promise.allSettled(asked);
  expect(outcomes.filter(({ status }) => status === "fulfilled")).toHaveLength(32);
  expect(outcomes.slice(32).every(({ status }) => status === "rejected")).toBe(true);
});

test("PlanDesk: given a probe of a run without findings, then it says that there is none; given a finding that is not there, then the fault comes back whole", async () => {
  desk = new PlanDesk();
  const about = {
    kind: "probe",
    report: { run: "00000000000000aa", findings: [] } as unknown as RunReport,
    request: { site: planOf(2), scenario: { file: "reach.yaml", text: "" } },
    agents: [],
  } as const;
  const offer = await desk.ask<ProbeOffer>({ ...about, finding: null });
  expect(offer).toMatchObject({ request: null, refusal: expect.stringMatching(/No finding/) });
  await expect(desk.ask({ ...about, finding: 3 })).rejects.toMatchObject({
    code: "OPTION_INVALID",
    hint: expect.stringContaining("dyetrace report"),
  });
});
