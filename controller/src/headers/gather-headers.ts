import { randomBytes } from "node:crypto";
import type { RunReport } from "@dyetrace/wire";
import { type KeptHeaders, MOST_HEADER_BYTES, MOST_RUN_HEADER_BYTES } from "@dyetrace/wire/capture/kept-headers-schema";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry, Gathered } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";

/** Since this protocol an agent keeps headers. */
const KEEPS_SINCE = 9;
const ANSWER_WITHIN_MS = 15_000;
type KeptAgent = KeptHeaders["agents"][number];

/** Whether the agents of a run were told to keep headers. */
export const keepsHeaders = ({ tasks }: CompiledRun): boolean =>
  [...tasks.values()].some(({ keepsHeaders }) => keepsHeaders !== undefined);

/**
 * Asks the agents of a run that is over for the headers that they kept, each for its share of what one run may have. Nothing is
 * asked for where nothing was found.
 * @returns null where the run keeps none, or has no finding
 */
export async function gatherHeaders(
  run: CompiledRun,
  report: RunReport,
  evidence: RunEvidence,
  registry: AgentRegistry,
): Promise<KeptHeaders | null> {
  if (!keepsHeaders(run) || report.findings.length === 0) return null;
  const names = [...run.tasks.keys()].sort();
  const mostBytes = Math.min(MOST_HEADER_BYTES, Math.floor(MOST_RUN_HEADER_BYTES / names.length));
  const answers = await askAll(run.runId, names, mostBytes, registry);
  const agents = names.map((agent): KeptAgent => {
    const answer = answers.get(agent);
    return {
      agent,
      interfaceName: registry.find(agent)?.capabilities.interface.name ?? "unknown",
      uncertaintyNs: evidence.agents.get(agent)?.clock?.uncertaintyNs ?? null,
      headers: answer?.headers ?? null,
      why: answer === undefined ? whyNot(registry.find(agent)) : answer.headers === null ? answer.why : null,
    };
  });
  return { formatVersion: 1, run: run.runId, startedAt: report.startedAt, agents };
}

const whyNot = (session: AgentSession | undefined): string =>
  session === undefined
    ? "it is not connected"
    : session.protocol < KEEPS_SINCE
      ? `its version, ${session.version}, keeps none`
      : "it did not answer";

function askAll(
  runId: string,
  names: readonly string[],
  mostBytes: number,
  registry: AgentRegistry,
): Promise<ReadonlyMap<string, Gathered>> {
  const id = randomBytes(8).toString("hex");
  const asked = names.flatMap((name) => registry.find(name) ?? []).filter(({ protocol }) => protocol >= KEEPS_SINCE);
  const answers = new Map<string, Gathered>();
  return new Promise((resolve) => {
    const finish = (): void => {
      clearTimeout(timer);
      registry.off("gathered", onGathered);
      registry.off("gone", onGone);
      resolve(answers);
    };
    const waiting = new Set(asked.map(({ name }) => name));
    const strike = (name: string): void => {
      waiting.delete(name);
      if (waiting.size === 0) finish();
    };
    const onGathered = ({ name }: AgentSession, answer: Gathered): void => {
      if (answer.id !== id) return;
      answers.set(name, answer);
      strike(name);
    };
    const onGone = ({ name }: AgentSession): void => {
      if (waiting.has(name)) strike(name);
    };
    const timer = setTimeout(finish, ANSWER_WITHIN_MS);
    registry.on("gathered", onGathered);
    registry.on("gone", onGone);
    if (asked.length === 0) finish();
    for (const session of asked) session.send({ kind: "gather", id, runId, fromNs: -1e18, toNs: 1e18, mostBytes });
  });
}
