import type { RunReport } from "../report/report-schema.ts";
import type { UserFile } from "./run-request.ts";

/** What a run tells whoever follows it: one JSON object a line over HTTP. */
export type RunProgress =
  /** First of all: what is going to happen, so that a follower can draw it. */
  | { readonly kind: "outline"; readonly outline: RunOutline }
  | { readonly kind: "step"; readonly text: string }
  /** What is doubtful about the scenario's groups; said before anything is sent. */
  | { readonly kind: "advice"; readonly level: string; readonly text: string; readonly reference: string }
  /** The order is out; the run's time begins in `startsInMs`. */
  | { readonly kind: "go"; readonly startsInMs: number; readonly lastsMs: number }
  | {
      readonly kind: "second";
      readonly atMs: number;
      readonly receivedPackets: number;
      /** What the timeline does next, and when; null when nothing more happens. */
      readonly next: { readonly what: string; readonly inMs: number } | null;
    }
  | { readonly kind: "done"; readonly report: RunReport }
  | { readonly kind: "failed"; readonly code: string; readonly message: string; readonly hint: string };

/** A run before it begins. Times in ms count from the run's start. */
export interface RunOutline {
  readonly site: UserFile;
  readonly scenario: string;
  readonly streams: readonly {
    readonly streamId: number;
    readonly name: string;
    /** Name of the agent that sends. */
    readonly source: string;
    readonly group: string;
    readonly port: number;
    /** UDP payload bits per second at the first emission. */
    readonly rateBps: number;
    readonly payloadBytes: number;
    /** When the source sends; `toMs` is the run's end where nothing stops it. */
    readonly emits: readonly { readonly fromMs: number; readonly toMs: number }[];
  }[];
  /** Planned stays in a group; `toMs` null stays to the run's end. */
  readonly joins: readonly {
    readonly stream: string;
    readonly agent: string;
    readonly fromMs: number;
    readonly toMs: number | null;
  }[];
}
