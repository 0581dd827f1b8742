import { randomBytes } from "node:crypto";
import type { SiteGraph } from "@dyetrace/site";
import { followsOthers, formatDurationNs, parseIpAddress, type RunProgress, type RunRequest } from "@dyetrace/wire";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { conductRun } from "../conduct/conduct-run.ts";
import { lookedAtOwnPortOnly, refuseStrangeTraffic } from "../conduct/groups-in-use.ts";
import { compileLook, describeLook } from "../conduct/look-before.ts";
import { siteMembershipIntervalNs } from "../conduct/site-membership-interval.ts";
import { cancelledUnbegun } from "../conduct/stop-order.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { AgentAddresses, CompiledRun } from "../plan/compiled-run.ts";
import type { Safety } from "../plan/safety.ts";
import { readScenario } from "./read-request.ts";

export type Say = (progress: RunProgress) => void;

export interface Looked {
  readonly request: RunRequest;
  readonly graph: SiteGraph;
  /** Compiled before the site's own timers are known. */
  readonly first: CompiledRun;
  readonly registry: AgentRegistry;
  readonly safety: Safety;
}

/** @returns the run, with the site's own timers where it needs them @throws {Fault} what strangers send there */
export async function lookFirst(one: Looked, signal: AbortSignal, say: Say): Promise<CompiledRun> {
  const { request, graph, first, registry, safety } = one;
  const { usesMembershipInterval } = first.scenario;
  // What flows already is not sent by us, so nobody has to be looked for first.
  if (followsOthers(first)) return first;
  if (!safety.isLive && !usesMembershipInterval) return first;
  if (safety.isLive) {
    say({ kind: "step", text: describeLook(first, { connected: mostJoins(registry), durationNs: safety.lookNs }) });
  }
  const { look, seen } = await lookFor(safety.lookNs, one, signal, say);
  if (safety.isLive) {
    if (request.despite?.includes("traffic") !== true) refuseStrangeTraffic(look, seen);
    const narrow = lookedAtOwnPortOnly(seen);
    if (narrow.length > 0) say({ kind: "step", text: sayNarrow(narrow) });
  }
  if (!usesMembershipInterval) return first;
  let intervalNs = siteMembershipIntervalNs(first, seen);
  if (intervalNs === null && safety.secondLookNs > 0) {
    const more = formatDurationNs(safety.secondLookNs);
    say({ kind: "step", text: `No query was heard yet: listening for ${more} more` });
    intervalNs = siteMembershipIntervalNs(first, (await lookFor(safety.secondLookNs, one, signal, say)).seen);
  }
  const { scenario } = readScenario(request, graph, intervalNs);
  say({ kind: "step", text: sayInterval(intervalNs) });
  return compileScenario(first.runId, scenario, graph, addresses(registry));
}

async function lookFor(
  durationNs: number,
  { first, registry, safety }: Looked,
  signal: AbortSignal,
  say: Say,
): Promise<{ readonly look: CompiledRun; readonly seen: RunEvidence }> {
  const connected = mostJoins(registry);
  const look = compileLook(first, { runId: newRunId(), durationNs, connected, isJoining: safety.isLive });
  const seen = await conductRun(look, registry, signal, quietly(say));
  if (signal.aborted) throw cancelledUnbegun(signal);
  return { look, seen };
}

const sayNarrow = (agents: readonly string[]): string =>
  `${agents.join(", ")} could look at the streams' own ports only: what others send there to other ports, or to groups with the same Ethernet address, is not known`;

/** How many streams each connected agent may join in one run. */
const mostJoins = (registry: AgentRegistry): ReadonlyMap<string, number> =>
  new Map(registry.list().map(({ name, capabilities }) => [name, capabilities.guards.maxJoins]));

const sayInterval = (intervalNs: number | null): string =>
  intervalNs === null
    ? "No query was heard: memberships are taken to last 260 s, the default of RFC 3376 section 8.4"
    : `By the querier's own figures a membership lasts ${(intervalNs / 1e9).toFixed(1)} s`;

/** Beginning and seconds of a look or a ramp are no part of the run that a follower draws. */
export const quietly =
  (say: Say): Say =>
  (progress) => {
    if (progress.kind !== "go" && progress.kind !== "second") say(progress);
  };

export const newRunId = (): string => randomBytes(8).toString("hex");

export function addresses(registry: AgentRegistry): ReadonlyMap<string, AgentAddresses> {
  return new Map(
    registry.list().map(({ name, capabilities }) => [
      name,
      {
        ipv4: capabilities.interface.ipv4,
        ipv6: capabilities.interface.ipv6.filter((text) => parseIpAddress(text) !== null),
      },
    ]),
  );
}
