import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { GroupRecordTypeSchema } from "../membership/membership-message.ts";
import { Nullable } from "../nullable.ts";

/**
 * The story of a run: who asked, who answered, who left, when the data came and went, and which timer ran. What
 * `dyetrace story --json` writes. Times in ms count from the run's start, on the controller's clock; unknown is null.
 */
const Ms = Type.Number();
const Count = Type.Integer({ minimum: 1 });
const Family = Type.Union([Type.Literal(4), Type.Literal(6)]);
const Vlan = Nullable(Type.Integer({ minimum: 1, maximum: 4095 }));

/** A host of the plan, a host of no agent that was heard, or somebody who queries. */
export const StoryLaneSchema = Type.Object({
  id: Type.String(),
  kind: Type.Union([Type.Literal("host"), Type.Literal("stranger"), Type.Literal("querier")]),
  /** The host's name, or an address. */
  name: Type.String(),
  /** The agent on a host; null where there is none. */
  agent: Nullable(Type.String()),
  /** Of a querier; null of a host. */
  family: Nullable(Family),
  version: Nullable(Type.Integer()),
  /** The VLAN tag that its messages bore. */
  vlan: Vlan,
  /** False: a host that can't watch, so that its messages are known as far as others heard them. */
  canWatch: Type.Boolean(),
});
export type StoryLane = DeepReadonly<Static<typeof StoryLaneSchema>>;

/**
 * `query` asks about all groups, `group-query` about one; `report` says that a membership goes on (before IGMPv3 and
 * MLDv2 a join is one as well), `join` and `leave` that it changes. `asks-join` and `asks-leave`: what an agent asked of
 * its own kernel.
 */
export const StoryMarkKindSchema = Type.Union([
  Type.Literal("query"),
  Type.Literal("group-query"),
  Type.Literal("report"),
  Type.Literal("join"),
  Type.Literal("leave"),
  Type.Literal("hello"),
  Type.Literal("asks-join"),
  Type.Literal("asks-leave"),
]);
export type StoryMarkKind = Static<typeof StoryMarkKindSchema>;

export const StoryMarkSchema = Type.Object({
  lane: Type.String(),
  kind: StoryMarkKindSchema,
  atMs: Ms,
  /** Of several alike that are told together, how many, and when the last one was. */
  count: Count,
  lastMs: Ms,
  protocol: Type.Union([Type.Literal("igmp"), Type.Literal("mld"), Type.Literal("pim"), Type.Null()]),
  version: Nullable(Type.Integer()),
  /** Null in a general query and a hello. */
  group: Nullable(Type.String()),
  sources: Type.Array(Type.String()),
  /** The group record of an IGMPv3 or MLDv2 report. */
  record: Nullable(GroupRecordTypeSchema),
  /** What a query carries; null where its version has no such field or it says nothing. */
  maxResponseMs: Nullable(Ms),
  queryIntervalMs: Nullable(Ms),
  robustness: Nullable(Type.Integer()),
  /** Names of the lanes that it came to, as far as those can tell. */
  heardBy: Type.Array(Type.String()),
});
export type StoryMark = DeepReadonly<Static<typeof StoryMarkSchema>>;

/** A time in which a stream's packets came, or were sent, without a break that could be seen. */
export const StoryDataSchema = Type.Object({
  lane: Type.String(),
  stream: Type.String(),
  group: Type.String(),
  fromMs: Ms,
  toMs: Ms,
  /** `received` as a member, `seen` at the network card without being one. */
  how: Type.Union([Type.Literal("sent"), Type.Literal("received"), Type.Literal("seen")]),
});
export type StoryData = DeepReadonly<Static<typeof StoryDataSchema>>;

export const StoryTimerKindSchema = Type.Union([
  Type.Literal("membership"),
  Type.Literal("last-member"),
  Type.Literal("other-querier"),
]);
export type StoryTimerKind = Static<typeof StoryTimerKindSchema>;

/** One run of a timer, as the messages tell it; nobody asked the switch. */
export const StoryTimerSchema = Type.Object({
  /** Whose membership, or whose office as querier. */
  lane: Type.String(),
  kind: StoryTimerKindSchema,
  /** As the standard calls it, and where. */
  name: Type.String(),
  reference: Type.String(),
  family: Family,
  group: Nullable(Type.String()),
  fromMs: Ms,
  /** What it runs down from. */
  valueMs: Ms,
  /** How the value comes about: `2 x 2 s + 500 ms`. */
  sum: Type.String(),
  /** Whether the queries carried the figures, the site's timers are known, the interval was measured, or nothing was to be had. */
  source: Type.Union([
    Type.Literal("queries"),
    Type.Literal("site"),
    Type.Literal("measured"),
    Type.Literal("default"),
  ]),
  /** When it ended, or the end of what is told. */
  toMs: Ms,
  /** `renewed` began anew, `ran-out` came to 0, `shortened` by a query about the group, `open` at the end. */
  end: Type.Union([Type.Literal("renewed"), Type.Literal("ran-out"), Type.Literal("shortened"), Type.Literal("open")]),
});
export type StoryTimer = DeepReadonly<Static<typeof StoryTimerSchema>>;

/** One stay of a group in a practice site's switch, at one port: read from the kernel. */
export const StoryTableSchema = Type.Object({
  node: Type.String(),
  port: Type.String(),
  /** The node at the other end. */
  towards: Nullable(Type.String()),
  vlan: Vlan,
  family: Family,
  group: Type.String(),
  /** `[atMs, leftMs]`: what was left of its timer when it was read; null: it has none. */
  readings: Type.Array(Type.Tuple([Ms, Nullable(Ms)])),
  /** The first look that no longer had it; null while it stands there. */
  goneMs: Nullable(Ms),
});
export type StoryTable = DeepReadonly<Static<typeof StoryTableSchema>>;

/** What the messages and the data say together. */
export const StoryRemarkSchema = Type.Object({
  kind: Type.Union([
    Type.Literal("join-answered"),
    Type.Literal("join-unanswered"),
    Type.Literal("leave-answered"),
    Type.Literal("leave-unanswered"),
    Type.Literal("outlived"),
    Type.Literal("ran-out"),
    Type.Literal("neighbour-cut"),
    Type.Literal("roamed"),
  ]),
  lane: Type.String(),
  /** Null: of no group, or of all. */
  group: Nullable(Type.String()),
  atMs: Ms,
  sentence: Type.String(),
});
export type StoryRemark = DeepReadonly<Static<typeof StoryRemarkSchema>>;

export const RunStorySchema = Type.Object(
  {
    formatVersion: Type.Literal(1),
    run: Type.String(),
    site: Type.String(),
    scenario: Type.String(),
    /** ISO 8601, UTC; null before the run has begun. */
    startedAt: Nullable(Type.String()),
    /** The time that is told. */
    fromMs: Ms,
    toMs: Ms,
    isOver: Type.Boolean(),
    lanes: Type.Array(StoryLaneSchema),
    marks: Type.Array(StoryMarkSchema),
    data: Type.Array(StoryDataSchema),
    timers: Type.Array(StoryTimerSchema),
    /** Of a practice site alone. */
    tables: Type.Array(StoryTableSchema),
    remarks: Type.Array(StoryRemarkSchema),
    /** What is not told, in sentences. */
    leftOut: Type.Array(Type.String()),
  },
  { $id: "https://dyetrace.invalid/run-story-1.schema.json", title: "dyetrace run story" },
);
export type RunStory = DeepReadonly<Static<typeof RunStorySchema>>;
