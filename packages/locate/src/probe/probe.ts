import type { FindingCauses } from "../finding/finding.ts";

/** One stream of a probe. Hosts by their node names. */
export interface ProbeStream {
  readonly source: string;
  readonly group: string;
  /** True when listeners join (source, group). */
  readonly isSourceSpecific: boolean;
  readonly payloadBytes: number;
  /** All of them join. Streams of one group have the same ones, but for their own source: memberships are by group. */
  readonly listeners: readonly string[];
}

/** A stream of the first run that did not come through, and to whom. */
export interface SilentStream {
  readonly source: string;
  readonly group: string;
  readonly isSourceSpecific: boolean;
  readonly hosts: readonly string[];
}

/** What is to be parted. */
export interface ProbeTask {
  /** Suspects of the finding. */
  readonly suspects: readonly string[];
  readonly causes: FindingCauses;
  /** Streams of the finding; the first one is repeated in the probe, so that it tells whether the fault is still there. */
  readonly silent: readonly SilentStream[];
  /** Hosts that can take part, and those of them that may send. */
  readonly hosts: readonly string[];
  readonly senders: readonly string[];
  /** A group that nobody uses and all may use, for telling whether the fault concerns one group; null: there is none. */
  readonly spareGroup: string | null;
}

/** The probe that parts the suspects best. */
export interface Probe {
  readonly streams: readonly ProbeStream[];
  /** Suspects that are left on average, every one being as likely as the next. At most as many as now. */
  readonly expectedSuspects: number;
  /** The most that can be left. */
  readonly mostSuspects: number;
}

/** Where an agent would have to stand to part suspects that no probe of today's agents parts. */
export interface WantedAgent {
  /** The node beside which it would stand. */
  readonly beside: string;
  readonly expectedSuspects: number;
}
