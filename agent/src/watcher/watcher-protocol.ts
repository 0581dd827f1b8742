import type { FaultCode, WatcherReport } from "@dyetrace/wire";
import type { HandedWatch } from "./handed-watch.ts";
import type { KeptHeaders } from "./header-keep.ts";
import type { InterfaceSight } from "./look/interface-look.ts";

/** Both directions between the main thread and the watcher's. `ready` or `unable` comes first. */
export const WATCHER_PROTOCOL = 2;

export interface WatcherSetup {
  readonly interfaceName: string;
  readonly interfaceIndex: number;
}

/** What the thread goes on with. */
export interface WatcherStart extends WatcherSetup {
  readonly handed: HandedWatch;
}

export interface WatchPlan {
  /** 16 hexadecimal digits. */
  readonly runId: string;
  /** The run's start on CLOCK_MONOTONIC, ns; may lie ahead. Times in reports count from it. */
  readonly startMonotonicNs: number;
  readonly streams: readonly { readonly streamId: number; readonly group: string; readonly port: number }[];
  /** True: nothing of the run is sent yet, and what others send to these groups and their kin is noted, on any port. */
  readonly looksForUse?: boolean;
  /** Headers are kept, in so much room and until this instant of the run. */
  readonly keepsHeaders?: { readonly roomBytes: number; readonly untilNs: number };
}

/** Which of the headers that were kept. */
export interface HeaderAsk {
  readonly runId: string;
  readonly fromNs: number;
  readonly toNs: number;
  readonly mostBytes: number;
  /** False: they are given up with that. */
  readonly keepsOn: boolean;
}

export type ToWatcher =
  | { readonly kind: "watch"; readonly id: number; readonly plan: WatchPlan }
  | { readonly kind: "snapshot"; readonly id: number }
  /** Looks at everything multicast from now on, beside the watch; a look that is on already begins anew. */
  | { readonly kind: "begin-look"; readonly id: number }
  /** Says what was seen since, and ends the look. */
  | { readonly kind: "end-look"; readonly id: number }
  /** Hands over what was kept of a run. */
  | { readonly kind: "read-headers"; readonly id: number; readonly ask: HeaderAsk }
  /** Ends the thread, and whatever it is at, but not the watch: that is handed back. */
  | { readonly kind: "release"; readonly id: number }
  | { readonly kind: "stop"; readonly id: number };

export type FromWatcher =
  | { readonly kind: "ready"; readonly protocol: number }
  /** It cannot watch this interface, or no longer. The thread ends; what was asked of it gets no answer. */
  | { readonly kind: "unable"; readonly code: FaultCode; readonly message: string; readonly hint: string }
  | { readonly kind: "done"; readonly id: number }
  | { readonly kind: "report"; readonly id: number; readonly report: WatcherReport }
  /** Null: no look was on, or its socket could not be opened. */
  | { readonly kind: "sight"; readonly id: number; readonly sight: InterfaceSight | null }
  | { readonly kind: "released"; readonly id: number; readonly handed: HandedWatch }
  /** Null: none were kept of that run. */
  | { readonly kind: "headers"; readonly id: number; readonly headers: KeptHeaders | null };
