import type { AgentSurroundings } from "@dyetrace/wire/surroundings/surroundings-schema";

/** A host whose agent told of its surroundings. */
export interface HostFacts extends AgentSurroundings {
  /** Of its node. */
  readonly name: string;
}
