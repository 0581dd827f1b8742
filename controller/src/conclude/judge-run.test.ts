import {
  FINDING_KIND_NAMES,
  FINDING_KINDS,
  type FindingKind,
  loadScenario,
  type ReportFinding,
  type ReportReceipt,
  type ScenarioExpectation,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import { judgeExpectations } from "./judge-expectations.ts";
import { judgeRun } from "./judge-run.ts";
import { judgeShares } from "./judge-shares.ts";

const NO_LIMITS = {
  lossRatio: null,
  longestGapNs: null,
  jitterNs: null,
  joinDelayNs: null,
  leaveDelayNs: null,
  duplicateRatio: null,
  reorderedRatio: null,
  leaks: null,
};

const receipt = (changes: Partial<ReportReceipt>): ReportReceipt => ({
  stream: "board",
  stays: 1,
  listener: "kiosk",
  sent: 1000,
  received: 1000,
  lost: 0,
  lossRatio: 0,
  hostLost: 0,
  duplicates: 0,
  reordered: 0,
  gaps: [],
  longestGapMs: 0,
  jitterMs: 0.1,
  joinDelayMs: null,
  leaveDelayMs: null,
  joinDelays: null,
  leaveDelays: null,
  leavesWithoutEffect: null,
  hops: null,
  asUnicastRatio: null,
  foreign: 0,
  ...changes,
});

const finding = (kind: FindingKind): ReportFinding => ({
  kind,
  streams: ["board"],
  suspects: [],
  confidence: 0.9,
  title: `something of kind ${kind}`,
  evidence: [],
  advice: "",
  reference: "",
});

test("judgeRun: given nothing wrong and nothing unknown, then pass", () => {
  const receipts = [receipt({})];
  const expectations = judgeExpectations({ ...NO_LIMITS, lossRatio: 0 }, receipts);
  expect(judgeRun([], expectations, receipts, [], false).verdict).toBe("pass");
});

test("judgeRun: given a listener whose figures are not known, then never pass, and the reason names it", () => {
  const judgement = judgeRun([], [], [receipt({ received: null })], [], false);
  expect(judgement.verdict).toBe("inconclusive");
  expect(judgement.reason).toMatch(/^What was received is not known: /);
});

test("judgeRun: given a lost agent, then never pass, and the reason names it", () => {
  const judgement = judgeRun([], [], [receipt({})], ["gate"], false);
  expect(judgement.verdict).toBe("inconclusive");
  expect(judgement.reason).toContain("gate");
});

test("judgeRun: given a finding that accuses, then fail, even with an agent lost", () => {
  expect(judgeRun([finding("stops")], [], [], ["gate"], false).verdict).toBe("fail");
});

test("judgeRun: given only loss inside a host, then inconclusive, not fail", () => {
  const receipts = [receipt({ hostLost: 20 })];
  expect(judgeRun([finding("host-side-loss")], [], receipts, [], false).verdict).toBe("inconclusive");
});

const VERDICTS = { fails: "fail", "blames-host": "inconclusive", undecided: "inconclusive", informs: "pass" } as const;
test.each(FINDING_KIND_NAMES)(
  "judgeRun: given a finding of kind %s alone, then the verdict is as its table says",
  (kind) => {
    expect(judgeRun([finding(kind)], [], [receipt({})], [], false).verdict).toBe(VERDICTS[FINDING_KINDS[kind].effect]);
  },
);

test("judgeRun: given a silent listener and no finding, then inconclusive", () => {
  expect(judgeRun([], [], [receipt({ received: 0, lossRatio: 1 })], [], false).verdict).toBe("inconclusive");
});

test("judgeRun: given a limit that could not be measured, then inconclusive", () => {
  const receipts = [receipt({}), receipt({ listener: "gate", lost: null, lossRatio: null })];
  const expectations = judgeExpectations({ ...NO_LIMITS, lossRatio: 0.01 }, receipts);
  expect(expectations[0]?.met).toBeNull();
  expect(judgeRun([], expectations, receipts, [], false).verdict).toBe("inconclusive");
});

test("judgeExpectations: given one receipt over the limit and one unknown, then the limit is broken", () => {
  const receipts = [receipt({ lost: 20, lossRatio: 0.02 }), receipt({ listener: "gate", lost: null, lossRatio: null })];
  const [loss] = judgeExpectations({ ...NO_LIMITS, lossRatio: 0.01 }, receipts);
  expect(loss).toMatchObject({ what: "loss", limit: "1 %", measured: "2 %", met: false });
  expect(loss?.detail).toContain("kiosk");
});

test("judgeExpectations: given a leave after which the stream went on to the end, then its delay is at least what was waited", () => {
  const limits = { ...NO_LIMITS, leaveDelayNs: 3e9 };
  const open = receipt({ leavesWithoutEffect: 1, leaveDelayAtLeastMs: 6_200 });
  expect(judgeExpectations(limits, [open])[0]).toMatchObject({ measured: "at least 6.2 s", met: false });
  // Waited for less than the limit: it may be kept or not.
  const short = receipt({ leavesWithoutEffect: 1, leaveDelayAtLeastMs: 1_000 });
  expect(judgeExpectations(limits, [short])[0]).toMatchObject({ measured: "at least 1 s", met: null });
});

test("judgeExpectations: given that nobody's join could be measured, then the limit does not apply, and the verdict does not wait for it", () => {
  const receipts = [receipt({})];
  const expectations = judgeExpectations({ ...NO_LIMITS, joinDelayNs: 5e8, longestGapNs: 5e7 }, receipts, () => false);
  expect(expectations.map(({ what, met, applies }) => [what, met, applies])).toEqual([
    ["longest gap", true, undefined],
    ["join delay", null, false],
  ]);
  expect(expectations[1]?.detail).toContain("before the stream began");
  expect(judgeRun([], expectations, receipts, [], false).verdict).toBe("pass");
  const [none] = judgeExpectations({ ...NO_LIMITS, joinDelayNs: 5e8 }, receipts, () => false);
  expect(judgeRun([], none === undefined ? [] : [none], receipts, [], false)).toEqual({
    verdict: "pass",
    reason: "Nothing was found, and none of the scenario's limits applies.",
  });
  // A join that could be measured, and was not, is another matter.
  expect(judgeExpectations({ ...NO_LIMITS, joinDelayNs: 5e8 }, receipts)[0]).toMatchObject({ met: null });
  expect(judgeExpectations({ ...NO_LIMITS, joinDelayNs: 5e8 }, receipts)[0]?.applies).toBeUndefined();
});

const expectation = (limits: string): ScenarioExpectation =>
  loadScenario(
    `
scenario: sample
streams: [ { name: board, source: tower, group: 233.252.0.1, rate: 1 Mbit/s } ]
timeline: [ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 11s, stop: board } ]
expect: { ${limits} }
`,
    "sample.yaml",
  ).scenario.expect;

const counted = (sent: number, lost: number, listener = "kiosk"): ReportReceipt =>
  receipt({ sent, lost, received: sent - lost, lossRatio: lost / sent, listener });

const verdictOf = (limits: string, receipts: readonly ReportReceipt[]) => {
  const expectations = judgeShares(expectation(limits), receipts, () => 190);
  return { ...judgeRun([], expectations, receipts, [], false), expectations };
};

test("judgeShares: given nothing lost of too few packets, then undecided, never pass, and it says what would decide", () => {
  const { verdict, reason, expectations } = verdictOf("loss: 0.01 %", [counted(3787, 0)]);
  expect(verdict).toBe("inconclusive");
  expect(expectations[0]).toMatchObject({
    met: null,
    measured: "0 %",
    // ln 0.05 / ln 0.9999; (29,956 - 3,787) / 190 = 137.7
    undecided: { stream: "board", listener: "kiosk", packets: 3787, neededPackets: 29_956, moreSeconds: 138 },
  });
  expect(reason).toBe(
    '"loss at most 0.01 %" is undecided: board at kiosk had 3787 packets, and about 29\u202f956 decide it, 2.3 min more.',
  );
  expect(expectations[0]?.detail).toContain("29\u202f956 packets decide it, 2.3 min more at 190 packets/s");
  expect(expectations[0]?.detail).toContain("0 of 3787 lost, which allows at most 0.0791 %");
});

test("judgeShares: given enough packets, then met, and the same figure stands beside it", () => {
  const { verdict, expectations } = verdictOf("loss: 0.1 %", [counted(3787, 0)]);
  expect(verdict).toBe("pass");
  expect(expectations[0]?.met).toBe(true);
  expect(expectations[0]?.undecided).toBeUndefined();
  expect(expectations[0]?.detail).toContain("at most 0.0791 %");
});

test("judgeShares: given one lost of a few, then neither met nor broken; given many, broken", () => {
  expect(verdictOf("loss: 0.01 %", [counted(3787, 1)]).verdict).toBe("inconclusive");
  const { verdict, reason } = verdictOf("loss: 0.01 %", [counted(3787, 12)]);
  expect(verdict).toBe("fail");
  expect(reason).toContain("loss 0.317 % (at most 0.01 %)");
});

test("judgeShares: given a limit of 0, then none may be lost, and few packets are no excuse", () => {
  expect(verdictOf("loss: 0 %", [counted(200, 0)]).verdict).toBe("pass");
  expect(verdictOf("loss: 0 %", [counted(200, 1)]).verdict).toBe("fail");
});

test("judgeShares: given one listener that decides it and one that does not, then undecided, and the second is named", () => {
  const { expectations } = verdictOf("loss: 0.1 %", [counted(30_000, 0), counted(300, 0, "gate")]);
  expect(expectations[0]).toMatchObject({ met: null, undecided: { listener: "gate", packets: 300 } });
});

test("judgeShares: given a receipt that says nothing beside one that is broken, then broken", () => {
  const unknown = receipt({ listener: "gate", sent: null, lost: null, lossRatio: null });
  const broken = verdictOf("loss: 1 %", [unknown, counted(1000, 100)]).expectations[0];
  expect(broken).toMatchObject({
    met: false,
    detail: expect.stringContaining(
      "Not known for 1 of 2 receipts: board at gate (what it should have had cannot be told).",
    ),
  });
  expect(verdictOf("loss: 1 %", [unknown, counted(1000, 0)]).expectations[0]?.met).toBeNull();
});

test("judgeShares: given receipts that say nothing, then each says why", () => {
  const silent = receipt({ listener: "gate", sent: null, lost: null, lossRatio: null, received: null });
  const early = receipt({ listener: "hall", sent: 0, lost: 0, lossRatio: null, received: 0 });
  const { met, detail } = verdictOf("loss: 1 %", [silent, early]).expectations[0] ?? {};
  expect(met).toBeNull();
  expect(detail).toBe(
    "Not known for 2 of 2 receipts: board at gate (its agent did not report in full), board at hall (nothing was sent while it was joined).",
  );
});

test("judgeShares: given doubled and overtaken packets, then they are judged of those that came, alike", () => {
  const doubled = receipt({ sent: 1000, received: 1000, duplicates: 40, reordered: 3 });
  const { expectations } = verdictOf("duplicates: 1 %, reordered: 0.3 %", [doubled]);
  expect(expectations.map(({ what, met }) => [what, met])).toEqual([
    ["duplicates", false],
    ["reordered", null],
  ]);
});

test("judge a run: given one that was ordered to stop, then the reason says by whom, and where that is not known nobody is named", () => {
  expect(judgeRun([], [], [receipt({})], [], true, null, "anna")).toEqual({
    verdict: "inconclusive",
    reason: "The run was stopped by anna before its end. Run it again to its end.",
  });
  expect(judgeRun([], [], [receipt({})], [], true).reason).toBe(
    "The run was stopped before its end. Run it again to its end.",
  );
});
