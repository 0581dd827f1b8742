import type { FindingKind } from "@dyetrace/wire";
import { afterAll, afterEach, beforeAll, expect, test } from "vitest";
import { type Lie, playFalseAgent } from "./false-agent.ts";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";

/** One agent among honest ones lies about its numbers: nothing may be concluded from what it says. */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
  stand: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0", "core:3 -- stand:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 300 kbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk, stand] }
  - { at: 1s, emit: board }
  - { at: 4s, stop: board }
`;

/** What a lie about numbers could make of a sound network. */
const ACCUSING_THE_WAY: readonly FindingKind[] = ["stops", "loses", "leaks"];

let site: LastingSite;
let liar: Awaited<ReturnType<typeof playFalseAgent>>;
let runId = "";
beforeAll(async () => {
  site = await raiseLastingSite(PLAN);
  await site.killAgent("stand");
  await site.gone("stand");
});
afterEach(async () => {
  liar?.hello.socket.terminate();
  await site.endRun(runId);
  await site.gone("stand");
});
afterAll(() => site?.[Symbol.asyncDispose]());

type Listener = { receipt: Record<string, unknown> | null };
const change =
  (edit: (receipt: Record<string, unknown>, second: number) => object): Lie =>
  (message, second) => {
    const copy = structuredClone(message) as unknown as { report: { listeners: Listener[] } };
    for (const listener of copy.report.listeners) {
      if (listener.receipt !== null) listener.receipt = { ...listener.receipt, ...edit(listener.receipt, second) };
    }
    return copy;
  };

test.each<[string, Lie, RegExp]>([
  ["counts more packets than it received", change(() => ({ firstCopies: 1000 })), /more than the 100 received/],
  [
    "lists losses that it does not count",
    change(({ spans }) => ({
      spans: (spans as { firstSeq: number }[]).map((span) => ({ ...span, lost: [[span.firstSeq, 2, null, null, 0]] })),
    })),
    /lists 2 lost packets and counts 0/,
  ],
  ["counts backwards", (message) => ({ ...message, firstNumber: 9, lastNumber: 3 }), /run from 9 to 3/],
  ["counts below nothing", change(() => ({ received: -5 })), /at \/report\/listeners/],
  [
    "has an interval of a year",
    (message) => ({ ...message, report: { ...message.report, toNs: 3e16 } }),
    /lasts from .* to 30000000000000000 ns/,
  ],
])(
  "a lying agent: given one that %s, then it is told so, and the run concludes without it",
  async (_what, lie, says) => {
    liar = await playFalseAgent({ ...site, name: "stand" }, (message, second) =>
      second === 2 ? lie(message, second) : message,
    );
    runId = await site.startRun(SCENARIO);
    expect(await liar.over).toMatch(says);
    const report = await site.report(runId, 60_000);
    const receipt = (listener: string) => report.receipts.find((one) => one.listener === listener);
    process.stderr.write(`${report.verdict}: ${report.notes.join(" ")}\n`);
    expect(receipt("stand")).toMatchObject({ received: null, lost: null, lossRatio: null });
    expect(receipt("kiosk")?.lost).toBe(0);
    expect(report.notes.join(" ")).toMatch(/stand/);
    expect(report.verdict).not.toBe("pass");
    expect(report.findings.filter(({ kind }) => ACCUSING_THE_WAY.includes(kind))).toEqual([]);
    await site.gone("stand");
  },
);

test("a lying agent: given figures that agree with each other but not with the source, then they are left out and said to be", async () => {
  liar = await playFalseAgent({ ...site, name: "stand" }, (message) => message);
  runId = await site.startRun(SCENARIO);
  const report = await site.report(runId, 60_000);
  await liar.over;
  process.stderr.write(`${report.verdict}: ${report.notes.join(" ")}\n`);
  expect(report.notes.join(" ")).toMatch(/stand tells of packets of board that tower says it never sent/);
  expect(report.receipts.find(({ listener }) => listener === "stand")).toMatchObject({ received: null, lost: null });
  expect(report.receipts.find(({ listener }) => listener === "kiosk")?.lost).toBe(0);
  expect(report.verdict).not.toBe("pass");
  expect(report.findings.filter(({ kind }) => ACCUSING_THE_WAY.includes(kind))).toEqual([]);
});
