import type { RunReport } from "@dyetrace/wire";
import { type KeptHeaders, MOST_HEADER_BYTES, MOST_RUN_HEADER_BYTES } from "@dyetrace/wire/capture/kept-headers-schema";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { type AgentHeaders, askForHeaders, KEEPS_SINCE } from "./ask-for-headers.ts";

type KeptAgent = KeptHeaders["agents"][number];

/** Whether the agents of a run were told to keep headers. */
export const keepsHeaders = ({ tasks }: CompiledRun): boolean =>
  [...tasks.values()].some(({ keepsHeaders }) => keepsHeaders !== undefined);

/**
 * Asks the agents of a run that is over for the headers that they kept, each for its share of what one run may have. Nothing is
 * asked for where nothing was found.
 * @param earlier what was handed over while the run went on @returns null where the run keeps none, or has no finding
 */
export async function gatherHeaders(
  run: CompiledRun,
  report: RunReport,
  evidence: RunEvidence,
  registry: AgentRegistry,
  earlier: readonly AgentHeaders[] = [],
): Promise<KeptHeaders | null> {
  if (!keepsHeaders(run) || report.findings.length === 0) return null;
  const names = [...run.tasks.keys()].sort();
  const share = shareOf(names.length);
  const mostBytes = Math.floor(share * (1 - earlier.length * WINDOW_SHARE));
  const all = { runId: run.runId, fromNs: -1e18, toNs: 1e18, mostBytes, keepsOn: false };
  const answers = await askForHeaders(names, all, registry);
  const agents = names.map((agent): KeptAgent => {
    const answer = answers.get(agent);
    return {
      agent,
      interfaceName: registry.find(agent)?.capabilities.interface.name ?? "unknown",
      uncertaintyNs: evidence.agents.get(agent)?.clock?.uncertaintyNs ?? null,
      headers: joined([...earlier, answers].flatMap((one) => one.get(agent)?.headers ?? [])),
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

/** What each of so many agents may hand over in one run, in octets. */
export const shareOf = (agents: number): number =>
  Math.min(MOST_HEADER_BYTES, Math.floor(MOST_RUN_HEADER_BYTES / Math.max(1, agents)));
/** Of that, what is asked for around one loss while the run goes on. */
export const WINDOW_SHARE = 0.15;

type Handed = NonNullable<KeptAgent["headers"]>;

/** @returns null where nothing was handed over; records that came twice stay twice */
function joined(parts: readonly Handed[]): Handed | null {
  const [first, ...others] = parts;
  if (first === undefined) return null;
  return others.reduce(
    (all, one) => ({
      data: both(all.data, one.data),
      membership: both(all.membership, one.membership),
      overwritten: Math.max(all.overwritten, one.overwritten),
      leftOut: all.leftOut + one.leftOut,
      dropped: Math.max(all.dropped, one.dropped),
    }),
    first,
  );
}

/** Two texts of base64 as one of the bytes of both. */
const both = (a: string, b: string): string =>
  Buffer.concat([Buffer.from(a, "base64"), Buffer.from(b, "base64")]).toString("base64");
