import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** What a finding rests on in terms that a probe can put to the test. Absent in reports of earlier versions. */
export const ReportCausesSchema = Type.Object({
  /** Payload of the packets that did not come, in bytes. */
  payloadBytes: Type.Integer(),
  /** Who got nothing of which stream, by node names; the first ones where there are many. */
  silent: Type.Array(Type.Object({ stream: Type.String(), host: Type.String() })),
  /** What each suspect would be at fault as: a place has several where more than one of them would look the same. */
  elements: Type.Array(
    Type.Object({
      /** Segment id or node name. */
      place: Type.String(),
      /** `link`, `reports`, `direction`, `cable`, `node`, `sender`, `receiver`, `host`, …; with `-group` where it concerns one group. */
      kind: Type.String(),
      /** The group or source that it concerns; null: all. */
      of: Nullable(Type.String()),
    }),
  ),
});
export type ReportCauses = DeepReadonly<Static<typeof ReportCausesSchema>>;

/** What a probe says of the finding that it was made for. */
export const ReportProbeSchema = Type.Object({
  /** The run that it was made for, and the finding's place in that run's list. */
  of: Type.String(),
  finding: Type.Integer({ minimum: 0 }),
  /**
   * `narrowed`: fewer suspects are left. `not-parted`: as many as before. `gone`: what had failed came through, so the
   * first run's suspects stand. `undecided`: the probe could not say, so they stand as well.
   */
  outcome: Type.Union([
    Type.Literal("narrowed"),
    Type.Literal("not-parted"),
    Type.Literal("gone"),
    Type.Literal("undecided"),
  ]),
  /** Suspects of the first run, and those that both runs together leave. */
  before: Type.Array(Type.String()),
  after: Type.Array(Type.String()),
  /** One sentence. */
  title: Type.String(),
  evidence: Type.Array(Type.String()),
});
export type ReportProbe = DeepReadonly<Static<typeof ReportProbeSchema>>;

/** A run that was made to part the suspects of another one's finding. */
export const ProbeRunSchema = Type.Object({
  runId: Type.String(),
  state: Type.String(),
  /** Null while it goes on, and where it could not run. */
  probe: Nullable(ReportProbeSchema),
});
export type ProbeRun = DeepReadonly<Static<typeof ProbeRunSchema>>;
