import type { AgentTask, FaultCode, Guards, ListenerInterval, SenderInterval, SourceStop } from "@dyetrace/wire";
import type { InterfaceSetup } from "../sockets/portable/multicast-interface.ts";

/**
 * Both directions between the main thread and a data-plane worker. While a run is on, a Linux worker blocks in the
 * kernel and reads no messages: what must reach it then goes through `SharedControl`.
 */
export const WORKER_PROTOCOL = 1;

export interface WorkerSetup extends InterfaceSetup {
  readonly guards: Guards;
  readonly contact: string;
  readonly control: SharedArrayBuffer;
}

export type ToWorker =
  | { readonly kind: "prepare"; readonly id: number; readonly task: AgentTask; readonly senderIds: readonly number[] }
  | { readonly kind: "go"; readonly startNs: number }
  | { readonly kind: "discard"; readonly id: number }
  | { readonly kind: "close"; readonly id: number };

export type FromWorker =
  | { readonly kind: "ready"; readonly protocol: number }
  | { readonly kind: "done"; readonly id: number }
  | {
      readonly kind: "refused";
      readonly id: number;
      readonly code: FaultCode;
      readonly message: string;
      readonly hint: string;
    }
  | { readonly kind: "interval"; readonly part: IntervalPart }
  | { readonly kind: "trouble"; readonly code: FaultCode; readonly message: string; readonly hint: string };

/** One worker's share of an interval report. */
export interface IntervalPart {
  readonly index: number;
  readonly fromNs: number;
  readonly toNs: number;
  readonly listeners: readonly ListenerInterval[];
  readonly senders: readonly SenderInterval[];
  readonly wallClockSteps: number | null;
  readonly sourcesStopped: { readonly why: SourceStop; readonly atNs: number; readonly detail: string } | null;
  /** Not null in the last one. */
  readonly totals: {
    readonly listeners: readonly ListenerInterval[];
    readonly senders: readonly SenderInterval[];
  } | null;
}
