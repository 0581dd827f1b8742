import type { AgentTask, Scenario, ScenarioStream } from "@dyetrace/wire";

/** What compiling needs to know of a connected agent. */
export interface AgentAddresses {
  readonly ipv4: string | null;
  /** Link-local ones may be among them. */
  readonly ipv6: readonly string[];
}

export interface CompiledStream extends ScenarioStream {
  readonly streamId: number;
  /** Node of the plan that carries the source's agent. */
  readonly sourceHost: string;
}

/** A planned stay in a group; `toNs` null stays until the run's end. */
export interface PlannedJoin {
  readonly stream: string;
  readonly agent: string;
  readonly fromNs: number;
  readonly toNs: number | null;
}

export interface CompiledRun {
  readonly runId: string;
  /** Of a look or a ramp: the run before which it is made. */
  readonly partOf?: string;
  readonly scenario: Scenario;
  readonly streams: readonly CompiledStream[];
  readonly joins: readonly PlannedJoin[];
  readonly companions: readonly CompiledCompanion[];
  /** One task for each agent of the plan: bystanders have streams to watch for and no action. */
  readonly tasks: ReadonlyMap<string, AgentTask>;
  readonly endNs: number;
}

/**
 * A slow unicast stream from a stream's source to one of its listeners, sent and listened to whenever the stream is.
 * Where it fails too, the fault is not multicast's.
 */
export interface CompiledCompanion {
  readonly of: string;
  readonly listener: string;
  readonly stream: CompiledStream;
}
