import { Fault, type GroupUse, sayGroupUse, type UseInTheWay, usesInTheWay, type WatcherReport } from "@dyetrace/wire";
import { type AgentAccount, accountOfAgent } from "../account/agent-account.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";

interface SeenBy {
  readonly agent: string;
  readonly use: UseInTheWay;
}

/** @returns what others sent to the streams' groups or their kin although we sent nothing, one sentence for each stream */
export function strangeTraffic(look: CompiledRun, evidence: RunEvidence): string[] {
  const agents = [...evidence.agents.values()].map((one) => ({ ...accountOfAgent(one), uses: usesIn(one.watch) }));
  return look.streams.flatMap((stream) => {
    const seenBy = agents.flatMap((agent): SeenBy[] => {
      const [use] = usesInTheWay(stream.group, [...agent.uses, ...atOwnPort(agent, stream)]);
      return use === undefined ? [] : [{ agent: agent.agent, use }];
    });
    // The nearest kin that anybody saw.
    const [nearest] = usesInTheWay(
      stream.group,
      seenBy.map(({ use }) => use),
    );
    const first = seenBy.find(({ use }) => use.group === nearest?.group && use.frames === nearest.frames);
    if (first === undefined) return [];
    const rest = seenBy.length - 1;
    const others = rest === 0 ? "" : rest === 1 ? "; one more agent saw some" : `; ${rest} more agents saw some`;
    return [
      `${sayGroupUse(stream.group, `${stream.group} (${stream.name})`, first.use, `${first.agent} saw`)}${others}`,
    ];
  });
}

/** Agents that saw no more than what came to the streams' own ports: they can't watch, or are of an earlier version. */
export const lookedAtOwnPortOnly = (evidence: RunEvidence): string[] =>
  [...evidence.agents.values()].flatMap(({ agent, watch }) =>
    watch.some(({ groupUse }) => groupUse !== undefined) ? [] : [agent],
  );

const usesIn = (watch: readonly WatcherReport[]): GroupUse[] => joined(watch.flatMap(({ groupUse }) => groupUse ?? []));

/** What came to a stream's own port, at the card or at the socket, as an agent tells that does not look further. */
function atOwnPort(
  { uses, watch, strangers }: AgentAccount & { readonly uses: readonly GroupUse[] },
  stream: CompiledStream,
): GroupUse[] {
  if (uses.some(({ group }) => group === stream.group)) return [];
  const seen = watch.framesOf(stream.streamId);
  const { packets = 0, sources = [] } = strangers.get(stream.streamId) ?? {};
  const frames = Math.max((seen?.foreignFrames ?? 0) + (seen?.frames ?? 0), packets);
  const source = sources.length === 0 ? "an address that it did not note" : sources.slice(0, 3).join(", ");
  return frames === 0 ? [] : [{ group: stream.group, port: stream.port, source, frames }];
}

function joined(uses: readonly GroupUse[]): GroupUse[] {
  const sums = new Map<string, GroupUse>();
  for (const use of uses) {
    const key = `${use.group} ${use.port} ${use.source}`;
    sums.set(key, { ...use, frames: use.frames + (sums.get(key)?.frames ?? 0) });
  }
  return [...sums.values()];
}

/** @throws {Fault} GROUP_IN_USE unless nothing was there */
export function refuseStrangeTraffic(look: CompiledRun, evidence: RunEvidence): void {
  const [first, ...more] = strangeTraffic(look, evidence);
  if (first === undefined) return;
  const rest = more.length === 0 ? "" : `; and ${more.length} more of the scenario's groups`;
  throw new Fault(
    "GROUP_IN_USE",
    `${first}${rest}`,
    "Nothing was sent. Choose another group, or insist with --despite-traffic if that traffic may be disturbed",
  );
}
