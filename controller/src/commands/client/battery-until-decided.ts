import type { SiteGraph } from "@dyetrace/site";
import { Fault, formatDurationNs, type RunReport } from "@dyetrace/wire";
import {
  type BatteryComparison,
  type BatteryVerdict,
  batteryVerdict,
  TOGETHER,
} from "../../compare/battery-verdict.ts";
import { compareBattery } from "../../compare/compare-battery.ts";
import { type ListenerLoss, listenerLosses, outlookOf, sayOutlook } from "../../compare/looks/outlook.ts";
import { planLooks } from "../../compare/looks/plan-looks.ts";
import { poolRuns } from "../../compare/pooled/pool-runs.ts";
import { wholeRuns } from "../../compare/pooled/whole-runs.ts";
import { NO_RUN_HELPS } from "./until-decided.ts";

/** Where nobody says how long at most: some rounds of the shipped battery, which lasts five minutes without `ageing`. */
export const BATTERY_AT_MOST_NS: number = 30 * 60e9;

export interface KeptPart {
  readonly scenario: string;
  readonly before: RunReport;
  /** One run of it. */
  readonly lastsNs: number;
}

export interface BatteryUntilDecided {
  /** At least one, in the order in which they run. */
  readonly parts: readonly KeptPart[];
  readonly graph: SiteGraph;
  readonly atMostNs: number;
  readonly runParts: (scenarios: readonly string[]) => Promise<readonly { scenario: string; report: RunReport }[]>;
  readonly nowMs: () => number;
  readonly say: (sentence: string) => void;
}

export interface DecidedBattery {
  readonly compared: readonly BatteryComparison[];
  readonly verdict: BatteryVerdict;
  readonly rounds: number;
}

/**
 * Runs a battery, and what of it is not decided again and again, until it says worse or better, or the same and that nobody loses
 * a twentieth of a per cent more; or until the time is over. All later runs of a scenario are held together against the earlier
 * one, at looks that are settled beforehand (see `planLooks`).
 * @throws {Fault} OPTION_INVALID where the time is too short for one round
 */
export async function batteryUntilDecided(task: BatteryUntilDecided): Promise<DecidedBattery> {
  const { parts, graph, atMostNs, runParts, nowMs, say } = task;
  const lengthNs = (scenarios: readonly string[]): number =>
    parts.reduce((sum, { scenario, lastsNs }) => sum + (scenarios.includes(scenario) ? lastsNs : 0), 0);
  const all = parts.map(({ scenario }) => scenario);
  const mostRounds = Math.floor(atMostNs / lengthNs(all));
  if (mostRounds < 1) {
    throw new Fault(
      "OPTION_INVALID",
      `One round of the battery lasts ${formatDurationNs(lengthNs(all))}, longer than ${formatDurationNs(atMostNs)}`,
      "Give more time with --at-most",
    );
  }
  const plan = planLooks(mostRounds);
  say(`At most ${mostRounds === 1 ? "one round" : `${mostRounds} rounds`} in ${formatDurationNs(atMostNs)}.`);
  const endMs = nowMs() + atMostNs / 1e6;
  const later = new Map<string, RunReport[]>(all.map((scenario) => [scenario, []]));
  const hold = (rounds: number): DecidedBattery => {
    const pairs = parts.map(({ scenario, before }) => ({
      scenario,
      before,
      after: poolRuns(wholeRuns(before, later.get(scenario) ?? [])),
    }));
    const compared = compareBattery(pairs, graph, plan.level);
    return { compared, verdict: batteryVerdict(compared), rounds };
  };
  const shares = { after: plan.after, level: plan.level / (parts.length + 1) }; // as in `compareBattery`
  let again: readonly string[] = all;
  for (let round = 1; ; round++) {
    for (const { scenario, report } of await runParts(again)) later.get(scenario)?.push(report);
    const isLast = round >= mostRounds;
    const isTooLate = nowMs() + lengthNs(again) / 1e6 > endMs;
    if (!plan.after.includes(round) && !isTooLate) continue;
    const decided = hold(round);
    const { outcome } = decided.verdict;
    const outlook = outcome === "same" ? outlookOf(lossesOf(parts, later), round, shares) : null;
    const isDecided = outcome !== "cant-tell" && outlook === null;
    if (isDecided || isLast || outlook?.isBarred === true) {
      if (outlook !== null) say(`${sayOutlook(outlook, round, lengthNs(all))}.`);
      return decided;
    }
    again = outcome === "same" ? all : undecidedOf(decided.compared, all);
    if (again.length === 0) {
      say(`${NO_RUN_HELPS}.`);
      return decided;
    }
    if (nowMs() + lengthNs(again) / 1e6 > endMs) {
      say(`The time is over: ${formatDurationNs(lengthNs(again))} for ${again.join(", ")} would be more than is left.`);
      return decided;
    }
    say(`Not decided after ${round === 1 ? "one round" : `${round} rounds`}; again: ${again.join(", ")}.`);
  }
}

/** What all have in common is settled by more of each. */
function undecidedOf(compared: readonly BatteryComparison[], all: readonly string[]): readonly string[] {
  const open = compared
    .filter(({ comparison }) => comparison.outcome === "cant-tell" && !comparison.isBarred)
    .map(({ scenario }) => scenario);
  const alone = all.filter((scenario) => open.includes(scenario));
  return open.includes(TOGETHER) && alone.length === 0 ? all : alone;
}

/** What each listener lost in all scenarios together. */
function lossesOf(parts: readonly KeptPart[], later: ReadonlyMap<string, readonly RunReport[]>): ListenerLoss[] {
  const sums = new Map<string, ListenerLoss>();
  for (const { scenario, before } of parts) {
    for (const loss of listenerLosses(before, poolRuns(wholeRuns(before, later.get(scenario) ?? [])))) {
      const sum = sums.get(loss.listener);
      sums.set(loss.listener, sum === undefined ? loss : addLosses(sum, loss));
    }
  }
  return [...sums.values()];
}

function addLosses(a: ListenerLoss, b: ListenerLoss): ListenerLoss {
  const add = (one: ListenerLoss["before"], other: ListenerLoss["before"]): ListenerLoss["before"] => ({
    sent: one.sent + other.sent,
    lost: one.lost + other.lost,
    events: one.events + other.events,
  });
  return { listener: a.listener, before: add(a.before, b.before), after: add(a.after, b.after) };
}
