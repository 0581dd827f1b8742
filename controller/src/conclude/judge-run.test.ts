import {
  FINDING_KIND_NAMES,
  FINDING_KINDS,
  type FindingKind,
  type ReportFinding,
  type ReportReceipt,
} from "@dyetrace/wire";
import { expect, test } from "vitest";
import { judgeExpectations } from "./judge-expectations.ts";
import { judgeRun } from "./judge-run.ts";

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
  const receipts = [receipt({}), receipt({ listener: "gate", lossRatio: null })];
  const expectations = judgeExpectations({ ...NO_LIMITS, lossRatio: 0.01 }, receipts);
  expect(expectations[0]?.met).toBeNull();
  expect(judgeRun([], expectations, receipts, [], false).verdict).toBe("inconclusive");
});

test("judgeExpectations: given one receipt over the limit and one unknown, then the limit is broken", () => {
  const receipts = [receipt({ lossRatio: 0.02 }), receipt({ listener: "gate", lossRatio: null })];
  const [loss] = judgeExpectations({ ...NO_LIMITS, lossRatio: 0.01 }, receipts);
  expect(loss).toMatchObject({ what: "loss", limit: "1 %", measured: "2 %", met: false });
  expect(loss?.detail).toContain("kiosk");
});
