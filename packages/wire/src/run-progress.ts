import type { RunReport } from "./report-schema.ts";

/** What a run tells whoever follows it: one JSON object a line over HTTP. */
export type RunProgress =
  | { readonly kind: "step"; readonly text: string }
  /** The order is out; the run's time begins in `startsInMs`. */
  | { readonly kind: "go"; readonly startsInMs: number; readonly lastsMs: number }
  | { readonly kind: "second"; readonly atMs: number; readonly receivedPackets: number }
  | { readonly kind: "done"; readonly report: RunReport }
  | { readonly kind: "failed"; readonly code: string; readonly message: string; readonly hint: string };
