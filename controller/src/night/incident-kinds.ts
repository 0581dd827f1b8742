import type { EpisodeKind } from "../store/pack/kept-report.ts";

/** What an operator calls it. */
export type IncidentKind =
  | "loss"
  | "host-loss"
  | "duplicates"
  | "reordered"
  | "source"
  | "link"
  | "clock-step"
  | "querier-change"
  | "away"
  | "restart"
  | "no-control"
  | "dropped";

/** A query alone is nothing. */
export const INCIDENT_KINDS: Readonly<Record<EpisodeKind, IncidentKind | null>> = {
  loss: "loss",
  silence: "loss",
  "host-loss": "host-loss",
  duplicates: "duplicates",
  reordered: "reordered",
  "send-stall": "source",
  "source-stop": "source",
  link: "link",
  "clock-step": "clock-step",
  query: null,
  "querier-change": "querier-change",
  away: "away",
  restart: "restart",
  "no-control": "no-control",
  dropped: "dropped",
};
