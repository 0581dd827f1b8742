import type { Static } from "@dyetrace/schema";
import { parseDurationNs, parseRatio } from "../units.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import type { ScenarioExpectSchema } from "./scenario-file-schema.ts";

/** Limits that a receipt must keep. Null: the scenario sets none. */
export interface ScenarioExpectation {
  readonly lossRatio: number | null;
  readonly longestGapNs: number | null;
  readonly jitterNs: number | null;
  readonly joinDelayNs: number | null;
  readonly leaveDelayNs: number | null;
  readonly duplicateRatio: number | null;
  readonly reorderedRatio: number | null;
  readonly leaks: "none" | "any" | null;
  /** What is lost this soon after a stream starts, or after a join, does not count. Absent: everything counts. */
  readonly warmUpNs?: number;
}

export function resolveExpectation(
  expect: Static<typeof ScenarioExpectSchema>,
  mistakes: FileMistakes,
): ScenarioExpectation {
  const limit = (key: Exclude<keyof typeof expect, "leaks">, parse: (text: string) => number): number | null => {
    const text = expect[key];
    return text === undefined ? null : mistakes.attempt(["expect", key], () => parse(text));
  };
  const warmUpNs = limit("warm-up", parseDurationNs);
  return {
    ...(warmUpNs === null ? {} : { warmUpNs }),
    lossRatio: limit("loss", parseRatio),
    longestGapNs: limit("longest-gap", parseDurationNs),
    jitterNs: limit("jitter", parseDurationNs),
    joinDelayNs: limit("join-delay", parseDurationNs),
    leaveDelayNs: limit("leave-delay", parseDurationNs),
    duplicateRatio: limit("duplicates", parseRatio),
    reorderedRatio: limit("reordered", parseRatio),
    leaks: expect.leaks ?? null,
  };
}
