import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { FINDING_KIND_NAMES } from "./finding-kinds.ts";
import { ReportDeviceSchema } from "./report-device-schema.ts";
import { ReportHostSchema } from "./report-host-schema.ts";
import { ReportMediaSchema } from "./report-media-schema.ts";
import { ProbeRunSchema, ReportCausesSchema, ReportProbeSchema } from "./report-probe-schema.ts";
import { ReportQuerierAuditSchema, ReportQuerierSchema } from "./report-querier-schema.ts";
import { ReportReceiptSchema } from "./report-receipt-schema.ts";
import { ReportRoamSchema, ReportWifiSchema } from "./report-wifi-schema.ts";

/**
 * The report of a run: what `--json` writes and what other programs may rely on. Unknown is null, never 0.
 * Times in ms count from the run's start; ratios go from 0 to 1.
 */
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Count = Type.Integer({ minimum: 0 });
const Ratio = Type.Number({ minimum: 0, maximum: 1 });
const Ms = Type.Number();

export const VerdictSchema = Type.Union([
  Type.Literal("pass"),
  Type.Literal("fail"),
  Type.Literal("could-not-run"),
  Type.Literal("inconclusive"),
]);
export type Verdict = Static<typeof VerdictSchema>;

export const ReportStreamSchema = Type.Object({
  name: Type.String(),
  source: Type.String(),
  group: Type.String(),
  port: Type.Integer(),
  rateBps: Type.Number(),
  payloadBytes: Type.Integer(),
  /** Null of a stream of others: nobody knows what it left with. */
  ttl: Nullable(Type.Integer()),
  dscp: Nullable(Type.Integer()),
  /** True: somebody else's stream, which was followed and not sent. The fields down to `comparedOneIn` stand beside it alone. */
  production: Type.Optional(Type.Boolean()),
  /** `rtp`, `rtp-with-mpeg-ts`, `mpeg-ts` or `any`; null where nobody saw it. */
  format: Type.Optional(Nullable(Type.String())),
  /** How its packets were told apart: `sequence`, `continuity` or `digest`; null where they could not be. */
  identifiedBy: Type.Optional(
    Nullable(Type.Union([Type.Literal("sequence"), Type.Literal("continuity"), Type.Literal("digest")])),
  ),
  ssrc: Type.Optional(Nullable(Type.Integer())),
  /** UDP payload bits per second of its packets that bear a number here, where those are not all: stuffing has none. */
  numberedBps: Type.Optional(Nullable(Type.Number())),
  /** Addresses that it was seen to come from. */
  senders: Type.Optional(Type.Array(Type.String())),
  /** One in so many of its packets was compared between listeners; counts are of those. */
  comparedOneIn: Type.Optional(Type.Integer({ minimum: 1 })),
  /** Packets the source says it sent; null when it could not say. */
  sent: Nullable(Count),
  /** Payload bits per second really sent, over the time the source was on. */
  sentRateBps: Nullable(Type.Number()),
  sendErrors: Nullable(Count),
  /** How late packets left: the middle one, 99 %, 99.9 % and worst. The first two are absent in earlier reports. */
  pacingP50Ms: Type.Optional(Nullable(Type.Number())),
  pacingP99Ms: Type.Optional(Nullable(Type.Number())),
  pacingP999Ms: Nullable(Type.Number()),
  pacingMaxMs: Nullable(Type.Number()),
});
export type ReportStream = DeepReadonly<Static<typeof ReportStreamSchema>>;

export const ReportBystanderSchema = Type.Object({
  stream: Type.String(),
  agent: Type.String(),
  /** Null when this agent can't watch. */
  frames: Nullable(Count),
  firstMs: Nullable(Ms),
  lastMs: Nullable(Ms),
  ranges: Type.Array(Type.Tuple([Count, Count])),
});
export type ReportBystander = DeepReadonly<Static<typeof ReportBystanderSchema>>;

export const ReportSegmentSchema = Type.Object({
  id: Type.String(),
  lossRatio: Nullable(Ratio),
  /** 95 % interval of the loss ratio. */
  low: Nullable(Ratio),
  high: Nullable(Ratio),
  status: Type.Union([
    Type.Literal("ok"),
    Type.Literal("stops"),
    Type.Literal("loses"),
    Type.Literal("leaks"),
    Type.Literal("unknown"),
  ]),
});
export type ReportSegment = DeepReadonly<Static<typeof ReportSegmentSchema>>;

export const ReportFindingSchema = Type.Object({
  kind: Type.Enum([...FINDING_KIND_NAMES]),
  streams: Type.Array(Type.String()),
  /** Segment ids (`a:port>b:port`) or node names, most likely first. More than one: they can't be told apart. */
  suspects: Type.Array(Type.String()),
  confidence: Ratio,
  title: Type.String(),
  evidence: Type.Array(Type.String()),
  advice: Type.String(),
  reference: Type.String(),
  causes: Type.Optional(ReportCausesSchema),
  /** Hosts that seem to sit elsewhere than the plan has them; names of the plan's nodes. Null: on none, or on which is not known. */
  misplaced: Type.Optional(
    Type.Array(
      Type.Object({
        host: Type.String(),
        plannedAt: Nullable(Type.String()),
        seemsAt: Nullable(Type.String()),
      }),
    ),
  ),
});
export type ReportFinding = DeepReadonly<Static<typeof ReportFindingSchema>>;

/** Why packets could not decide a limit, told of the receipt that leaves it most open. */
export const ReportUndecidedSchema = Type.Object({
  stream: Type.String(),
  listener: Type.String(),
  packets: Count,
  /** How many decide it if the share stays as it was; null where no number does. */
  neededPackets: Nullable(Count),
  /** How much longer the stream would have to be sent for that; null where its rate is not known. */
  moreSeconds: Nullable(Type.Number({ minimum: 0 })),
});

/** One promise of the scenario, held against what was measured. `met` is null when it could not be judged. */
export const ReportExpectationSchema = Type.Object({
  what: Type.String(),
  limit: Type.String(),
  measured: Nullable(Type.String()),
  met: Nullable(Type.Boolean()),
  detail: Type.String(),
  /** Present where nothing of the run could be held against it, as the detail says; `met` is null then. */
  applies: Type.Optional(Type.Literal(false)),
  /** Set where it was measured, but the packets were too few to tell on which side of the limit it lies. */
  undecided: Type.Optional(ReportUndecidedSchema),
});
export type ReportExpectation = DeepReadonly<Static<typeof ReportExpectationSchema>>;

export const ReportCoverageSchema = Type.Object({
  /** Sets of segments that these agents can't tell apart, for one fault. */
  ambiguousSets: Type.Array(Type.Array(Type.String())),
  /** Where one more agent would split the largest set best; null when nothing would. */
  nextAgentAt: Nullable(Type.String()),
});

/** Something that went wrong for a time and then stopped, or not. Times count from the run's start. */
export const ReportIncidentSchema = Type.Object({
  /**
   * `loss`, `host-loss`, `duplicates`, `reordered`, `source`, `querier-change`, `away` (an agent measured nothing), `restart` (the
   * same for an instant), `no-control` (measured on without the controller), `link`, `clock-step`, `dropped`, `not-looked-at`.
   */
  kind: Type.String(),
  fromMs: Ms,
  toMs: Ms,
  streams: Type.Array(Type.String()),
  /** Who was hit. */
  agents: Type.Array(Type.String()),
  /** Segments and nodes that explain who was hit and who was not; empty where none does. */
  suspects: Type.Array(Type.String()),
  /** Probability that the true cause is among the suspects; absent where they were not reasoned out. */
  confidence: Type.Optional(Ratio),
  /** Packets, for losses. */
  count: Count,
  /** Time that streams did not come, added up over streams and listeners; absent where nobody missed any, and in earlier versions. */
  withoutMs: Type.Optional(Ms),
  /** True: it went on all the time from its beginning to its end. */
  isSteady: Type.Optional(Type.Boolean()),
  /** Where there were too many of its name to keep each: how many it stands for, and when some of them began. */
  times: Type.Optional(Count),
  startsMs: Type.Optional(Type.Array(Ms)),
  /** One sentence. */
  title: Type.String(),
});
export type ReportIncident = DeepReadonly<Static<typeof ReportIncidentSchema>>;

/** What one source sent and one listener received in one uninterrupted piece of its agent's work. */
export const ReportStretchSchema = Type.Object({
  stream: Type.String(),
  agent: Type.String(),
  role: Type.Union([Type.Literal("source"), Type.Literal("listener")]),
  fromMs: Ms,
  toMs: Ms,
  /** False: the agent ended without a last report, and what came after the one before it is not known. */
  isWhole: Type.Boolean(),
  /** Of a source. */
  sent: Nullable(Count),
  /**
   * Of a listener: numbers it judged, and what became of them: `judged` is `received` and `lost` together. Of a stream that was
   * followed an agent by itself knows what it received alone.
   */
  judged: Nullable(Count),
  received: Nullable(Count),
  lost: Nullable(Count),
  hostLost: Nullable(Count),
});
export type ReportStretch = DeepReadonly<Static<typeof ReportStretchSchema>>;

export const RunReportSchema = Type.Object(
  {
    formatVersion: Type.Literal(1),
    run: Type.String(),
    site: Type.String(),
    scenario: Type.String(),
    /** ISO 8601, UTC. */
    startedAt: Type.String(),
    endedAt: Type.String(),
    verdict: VerdictSchema,
    /** Why, in one sentence; where it is inconclusive, and no finding says why, one more says what to do. */
    reason: Type.String(),
    streams: Type.Array(ReportStreamSchema),
    receipts: Type.Array(ReportReceiptSchema),
    bystanders: Type.Array(ReportBystanderSchema),
    queriers: Type.Array(ReportQuerierSchema),
    /** VLAN by VLAN and family by family: who was to ask, and who did. Absent in earlier reports. */
    querierAudit: Type.Optional(Type.Array(ReportQuerierAuditSchema)),
    segments: Type.Array(ReportSegmentSchema),
    findings: Type.Array(ReportFindingSchema),
    expectations: Type.Array(ReportExpectationSchema),
    coverage: ReportCoverageSchema,
    /** Where the run is a probe. */
    probe: Type.Optional(ReportProbeSchema),
    /** What runs said that were made to part the suspects, in files that were written after them. */
    probes: Type.Optional(Type.Array(ProbeRunSchema)),
    /** Of streams of others: what their viewers would have noticed. Absent where none was followed. */
    media: Type.Optional(Type.Array(ReportMediaSchema)),
    /** In order of time. */
    incidents: Type.Optional(Type.Array(ReportIncidentSchema)),
    /** One entry for each agent that took part; absent in reports of earlier versions. */
    hosts: Type.Optional(Type.Array(ReportHostSchema)),
    /** Switches and routers that were read; absent where none was. */
    devices: Type.Optional(Type.Array(ReportDeviceSchema)),
    /** Where the run went over the air; absent in reports of earlier versions. */
    wifi: Type.Optional(ReportWifiSchema),
    /** In order of time; absent where nobody was seen to move. */
    roams: Type.Optional(Type.Array(ReportRoamSchema)),
    /** Where an agent's work was interrupted: everything that was counted, piece by piece. */
    stretches: Type.Optional(Type.Array(ReportStretchSchema)),
    /** Agents that were lost, could not do something, or said something that the reader should know. */
    notes: Type.Array(Type.String()),
  },
  { $id: "https://dyetrace.invalid/run-report-1.schema.json", title: "dyetrace run report" },
);
export type RunReport = DeepReadonly<Static<typeof RunReportSchema>>;
