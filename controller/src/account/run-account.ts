import type { CompiledRun } from "../plan/compiled-run.ts";
import { type AgentAccount, accountOfAgent } from "./agent-account.ts";
import { type Bystander, bystandersOf, seenAfterLeaves } from "./bystanders.ts";
import { type ImpossibleWord, impossibleWords } from "./impossible-reception.ts";
import type { RunEvidence } from "./run-evidence.ts";
import { accountOfSource, type SourceAccount } from "./source-account.ts";
import { stayFacts } from "./stay-facts.ts";
import { type Stay, stayOf } from "./stays.ts";

/**
 * The one account of a run, made once from everything that its agents said: who sent what, who received what and when,
 * which numbers are missing, and who saw what he had not asked for. Observations, report and judgement all read it, and
 * nobody goes back to the evidence, so that no two figures of one run can come from two countings.
 */
export interface RunAccount {
  readonly run: CompiledRun;
  readonly told: RunCircumstances;
  readonly agents: ReadonlyMap<string, AgentAccount>;
  /** By the stream's name; only those whose source told something. */
  readonly sources: ReadonlyMap<string, SourceAccount>;
  /** In the order of `run.joins`. */
  readonly stays: readonly Stay[];
  readonly bystanders: readonly Bystander[];
  readonly seenAfterLeaves: readonly Bystander[];
  readonly impossible: readonly ImpossibleWord[];
}

/** What is known of a run beside its agents' reports. */
export type RunCircumstances = Pick<
  RunEvidence,
  "startedAt" | "endedAt" | "absent" | "isAborted" | "stopReason" | "stoppedBy"
>;

/** Pure. */
export function accountOfRun(run: CompiledRun, evidence: RunEvidence): RunAccount {
  const { startedAt, endedAt, absent, isAborted, stopReason, stoppedBy = null } = evidence;
  const agents = new Map([...evidence.agents].map(([name, one]) => [name, accountOfAgent(one)]));
  const sources = new Map(
    run.streams.flatMap((stream) => {
      const source = accountOfSource(run, stream, agents, evidence.followed);
      return source === null ? [] : [[stream.name, source] as const];
    }),
  );
  const facts = stayFacts(run, agents, sources);
  return {
    run,
    told: { startedAt, endedAt, absent, isAborted, stopReason, stoppedBy },
    agents,
    sources,
    stays: facts.map((one) => stayOf(run, one, agents)),
    bystanders: bystandersOf(run, agents),
    seenAfterLeaves: seenAfterLeaves(run, facts),
    impossible: run.streams.flatMap((stream) => impossibleWords(stream, sources.get(stream.name) ?? null, agents)),
  };
}
