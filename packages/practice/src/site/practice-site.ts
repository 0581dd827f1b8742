import type { Socket as DatagramSocket } from "node:dgram";
import type { Server } from "node:net";
import type { SiteGraph } from "@dyetrace/site";
import type { PracticeFault } from "../faults/practice-fault.ts";
import type { ExecOptions, ExecResult, PracticeProcess, SpawnOptions } from "../host/practice-process.ts";
import type { MulticastRouting } from "../layout/multicast-routing.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import type { PracticeDevice } from "../talk/device-secret.ts";
import type { GroupTableEntry } from "./group-tables.ts";

export interface PracticeSiteOptions {
  /** `memberships` unless said otherwise. */
  readonly routing?: MulticastRouting;
  /** What differs from `PRACTICE_TIMERS`. */
  readonly timers?: Partial<PracticeTimers>;
  /** Where the plan declares no querier: the host from whose side the querier is chosen. */
  readonly firstSource?: string;
  /** Whether its switches, routers and access points announce themselves and can be asked for their tables. */
  readonly switchesTalk?: boolean;
  readonly signal?: AbortSignal;
  /** What an operator may want to see, one sentence a call. */
  readonly log?: (sentence: string) => void;
}

/** A site plan, standing on this machine. Whoever raises it closes it; it also goes when this process dies, however it dies. */
export interface PracticeSite extends AsyncDisposable {
  readonly id: string;
  readonly graph: SiteGraph;
  readonly timers: PracticeTimers;
  /** The switch that queries (in the first source's VLAN); null when no switch of the site snoops. */
  readonly querier: string | null;
  /** Listens inside, on the management network; its connections arrive in this process. */
  readonly managementServer: Server;
  /** Where agents inside reach `managementServer`. */
  readonly managementUrl: string;
  /** The nodes that can be asked for their tables, and how; none unless the site's switches talk. */
  readonly devices: readonly PracticeDevice[];
  /** A UDP socket on the management network that sends and receives in this process: for asking `devices`. The caller closes it. */
  openDatagram(): Promise<DatagramSocket>;
  /** IPv4 and IPv6 on the tested network, of the host's first port. @throws {Fault} NODE_UNKNOWN */
  addressOf(host: string): PracticeAddress;
  /** The name that a port of the plan bears inside its node (in its first VLAN). @throws {Fault} NODE_UNKNOWN */
  interfaceOf(node: string, port: string): string;
  /** Starts a process inside a node. It ends with the site at the latest. */
  spawn(node: string, argv: readonly string[], options?: SpawnOptions): Promise<PracticeProcess>;
  /** Runs a command inside a node to its end. A program that fails is no error here: look at `code`. */
  exec(node: string, argv: readonly string[], options?: ExecOptions): Promise<ExecResult>;
  /** Puts faults in, all or none. Lasting ones only: their times are the caller's (`playPracticeFaults`). */
  inject(faults: readonly PracticeFault[]): Promise<void>;
  /** Takes out faults that `inject` put in (the same objects), and leaves the site as it was built. */
  lift(faults: readonly PracticeFault[]): Promise<void>;
  /** Waits until every snooping switch in the querier's earshot has heard a new general query and acts on it. */
  settled(signal?: AbortSignal): Promise<void>;
  /** What its switches have in their group tables now, read from the kernel. */
  groupTables(): Promise<readonly GroupTableEntry[]>;
  /** Resolves when the site is gone, with the reason if nobody closed it. */
  readonly closed: Promise<string | null>;
  close(): Promise<void>;
}

export interface PracticeAddress {
  readonly ipv4: string;
  /** Null where this kernel has no IPv6. */
  readonly ipv6: string | null;
  /** On the management network. */
  readonly management: string;
  readonly mac: string;
  readonly interfaceName: string;
}
