import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compileScenario } from "../plan/compile-scenario.ts";
import { joinDelayOf } from "./membership-delays.ts";
import type { StayFacts } from "./stay-facts.ts";

const GRAPH = loadSitePlan(
  `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, lounge: { kind: host } }
links: [ core:1 -- tower:eth0, core:2 -- lounge:eth0 ]
`,
  "plan.yaml",
);
const SECOND = 1e9;

/** The lounge asks at an instant, whenever the plan wanted it, and gets its first packet 40 ms later. */
function delayOf(timeline: string, askedNs: number): unknown {
  const text = `scenario: joins
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B } ]
timeline: [ ${timeline}, { at: 10s, stop: board } ]
`;
  const run = compileScenario("00000000000000aa", loadScenario(text, "s.yaml").scenario, GRAPH, new Map());
  const [stream] = run.streams;
  const [join] = run.joins;
  if (stream === undefined || join === undefined) throw new Error("one stream and one join");
  const membership = {
    joinRequestedNs: askedNs,
    firstPacketNs: askedNs + 40e6,
    lastPacketNs: null,
    leaveRequestedNs: null,
  };
  const reception = { membership } as unknown as NonNullable<StayFacts["reception"]>;
  return joinDelayOf(run, { stream, join, nextJoinNs: null, reception, frames: null, events: null, source: null });
}

test("joinDelayOf: given a plan that joins before it sends, and a host so busy that it joins after, then no delay is measured by accident", () => {
  const before = "{ at: 1s, join: board, agents: [lounge] }, { at: 1500ms, emit: board }";
  expect(delayOf(before, 1 * SECOND)).toEqual({ kind: "source-late" });
  expect(delayOf(before, 1.6 * SECOND)).toEqual({ kind: "source-late" });
  const after = "{ at: 1s, emit: board }, { at: 1500ms, join: board, agents: [lounge] }";
  expect(delayOf(after, 1.6 * SECOND)).toMatchObject({ kind: "measured", delayNs: 40e6, since: "request" });
});
