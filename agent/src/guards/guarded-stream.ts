import { Fault } from "@dyetrace/wire/fault";

/** What the guards look at in one stream that is to be sent. */
export interface GuardedStream {
  /** The number in the test packet; a companion names its stream by it. */
  readonly streamId: number;
  readonly name: string;
  readonly group: string;
  readonly port: number;
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly ttl: number;
  readonly dscp: number;
  /** Packets sent back to back. */
  readonly burstPackets: number;
  /** Set on a unicast companion; its group is then a host's address. */
  readonly companionOf?: number | undefined;
}

/** Where a hint says that a key stands, after the key's name there. */
export const IN_FILE = "in that host's agent.yaml";

/** @param hint names keys as they stand in the host's own file */
export const streamRefused = ({ name, group }: GuardedStream, reason: string, hint: string): Fault =>
  new Fault("GUARD_REFUSED", `This host does not send ${name} to ${group}: ${reason}`, hint);

/** What the host does not do at all, whichever the stream. */
export const taskRefused = (what: string, hint: string): Fault =>
  new Fault("GUARD_REFUSED", `This host does not ${what}`, hint);
