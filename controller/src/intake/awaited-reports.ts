import type { AgentSession } from "../agents/agent-session.ts";
import type { KeptReport } from "../store/pack/kept-report.ts";

type Numbered = Pick<KeptReport, "runId" | "stint" | "firstNumber" | "lastNumber">;

/** Which reports agents were asked for again, and which nobody waits for. */
export interface AwaitedReports {
  /** Notes that a report came too early. @returns whether its agent has yet to be told what is stored */
  ask(session: AgentSession, report: Numbered, nowMs: number): boolean;
  /** It is stored. */
  arrived(report: Numbered, nowMs: number): void;
  isAwaiting(runId: string, nowMs: number): boolean;
  /** It can never be stored: what follows it needs not wait for it. */
  passOver(runId: string, stint: string, lastNumber: number): void;
  isPassedOver(report: Numbered): boolean;
}

/** An agent that sends nothing of a stint for so long sends no more of it. */
const GIVEN_UP_MS = 20_000;
const MOST_PASSED_OVER = 10_000;

export function awaitedReports(): AwaitedReports {
  /** By run and stint: up to which number reports came too early, and when something of it came last. */
  const awaited = new Map<string, { readonly upTo: number; readonly heardMs: number }>();
  /** Stints of which each connection was told how far they are stored: it sends all else by itself. */
  const told = new WeakMap<AgentSession, Map<string, number>>();
  const passedOver = new Map<string, number>();
  const keyOf = ({ runId, stint }: Pick<Numbered, "runId" | "stint">): string => `${runId} ${stint}`;
  return {
    ask: (session, report, nowMs) => {
      const key = keyOf(report);
      awaited.set(key, { upTo: Math.max(awaited.get(key)?.upTo ?? 0, report.lastNumber), heardMs: nowMs });
      const before = told.get(session) ?? new Map<string, number>();
      told.set(session, before);
      // One that comes once more was sent again, and something else is missing before it.
      const isTold = (before.get(key) ?? 0) < report.firstNumber && before.has(key);
      before.set(key, report.firstNumber);
      return !isTold;
    },
    arrived: (report, nowMs) => {
      const key = keyOf(report);
      const one = awaited.get(key);
      if (one === undefined) return;
      if (report.lastNumber >= one.upTo) awaited.delete(key);
      else awaited.set(key, { ...one, heardMs: nowMs });
    },
    isAwaiting: (runId, nowMs) =>
      [...awaited].some(([key, { heardMs }]) => key.startsWith(`${runId} `) && nowMs - heardMs < GIVEN_UP_MS),
    passOver: (runId, stint, lastNumber) => {
      if (passedOver.size >= MOST_PASSED_OVER) passedOver.clear();
      passedOver.set(keyOf({ runId, stint }), lastNumber);
    },
    isPassedOver: (report) => (passedOver.get(keyOf(report)) ?? 0) >= report.firstNumber - 1 && report.firstNumber > 1,
  };
}
