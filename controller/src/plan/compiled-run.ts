import type { AgentTask, Scenario, ScenarioStream } from "@dyetrace/wire";

/** What compiling needs to know of a connected agent. */
export interface AgentAddresses {
  readonly ipv4: string | null;
  /** Link-local ones may be among them. */
  readonly ipv6: readonly string[];
}

export interface CompiledStream extends ScenarioStream {
  readonly streamId: number;
  /** Node of the plan that carries the source's agent, or that a production stream comes from. */
  readonly sourceHost: string;
  /** Of a production stream, once it was followed. */
  readonly followed?: FollowedFacts;
}

/** What agents found out about a stream of others. */
export interface FollowedFacts {
  readonly format: "rtp" | "rtp-with-mpeg-ts" | "mpeg-ts" | "any" | null;
  /** How its packets are told apart; null: nobody saw one, or they can't be. */
  readonly identifiedBy: "sequence" | "continuity" | "digest" | null;
  readonly ssrc: number | null;
  /** Addresses that it was seen to come from. */
  readonly senders: readonly string[];
  /** One in so many of its packets was compared. */
  readonly comparedOneIn: number;
  /**
   * UDP payload bits per second, of all its packets; null: those whose numbers are known are all of them. A stream's own `rateBps` is
   * that of the packets with a number.
   */
  readonly allBps: number | null;
  /** Packets that nobody received and whose neighbours' counters show missing; null where nothing would show it. */
  readonly missingToAll: number | null;
  /** Nobody saw a packet of it in the whole run: what was to come is an assumption. */
  readonly isUnseen: boolean;
  /** Agents that had not joined it and could see all of it that came: the silence of others proves nothing. */
  readonly watchers: readonly string[];
}

/** A planned stay in a group; `toNs` null stays until the run's end. */
export interface PlannedJoin {
  readonly stream: string;
  readonly agent: string;
  readonly fromNs: number;
  readonly toNs: number | null;
  /** Some other program on the agent's host had joined, and the agent followed what came: when it asked is not known. */
  readonly isOfHost?: true;
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

/** UDP payload bits per second, of a stream of others as far as it was seen. */
export const rateInAllBps = ({ rateBps, followed }: CompiledStream): number => followed?.allBps ?? rateBps;
