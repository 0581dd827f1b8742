import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** A run second by second, as its agents report it. Seconds count from 0 at the run's start. */
const Count = Type.Integer({ minimum: 0 });

/**
 * One second of one agent and one stream, as a letter:
 * `f` flows whole · `1` to `4` thins: under 0.1 %, 1 %, 10 %, more · `-` dry: joined, source on, nothing came · `b` the
 * same, though frames came to its network card ·
 * `.` waiting: joined, but no packet is due yet or any more · `s` seen without joining · `d` the same, as the site's
 * build has it (an unmanaged switch copies to all) · `n` a followed stream comes, and an agent by itself cannot tell what was
 * lost of it · `o` not joined, nothing seen · `u` not joined, cannot watch.
 */
export const LiveMarkSchema = Type.Union([
  Type.Literal("f"),
  Type.Literal("1"),
  Type.Literal("2"),
  Type.Literal("3"),
  Type.Literal("4"),
  Type.Literal("-"),
  Type.Literal("b"),
  Type.Literal("."),
  Type.Literal("s"),
  Type.Literal("d"),
  Type.Literal("n"),
  Type.Literal("o"),
  Type.Literal("u"),
]);
export type LiveMark = Static<typeof LiveMarkSchema>;

/** What one listener measured in one second. */
export const LiveFiguresSchema = Type.Object({
  received: Count,
  lost: Count,
  /** Counters of 4 bits tell of the loss (ISO/IEC 13818-1): so many at least. */
  isLostAtLeast: Type.Optional(Type.Literal(true)),
  hostLost: Nullable(Count),
  rateBps: Type.Number({ minimum: 0 }),
  jitterMs: Nullable(Type.Number()),
  longestGapMs: Nullable(Type.Number()),
});
export type LiveFigures = DeepReadonly<Static<typeof LiveFiguresSchema>>;

/** A program of the host's own has joined a followed stream, this run has not: what came was followed at the network card. */
const IsOfHost = Type.Optional(Type.Literal(true));

export const LiveCellSchema = Type.Object({
  agent: Type.String(),
  streamId: Type.Integer(),
  second: Type.Integer(),
  mark: LiveMarkSchema,
  figures: Nullable(LiveFiguresSchema),
  isOfHost: IsOfHost,
});
export type LiveCell = DeepReadonly<Static<typeof LiveCellSchema>>;

/** The marks of one agent and stream from second `from` on, one letter a second; a blank where nothing was told. */
export const LiveStripSchema = Type.Object({
  agent: Type.String(),
  streamId: Type.Integer(),
  from: Type.Integer(),
  marks: Type.String(),
  last: Nullable(LiveFiguresSchema),
  isOfHost: IsOfHost,
});
export type LiveStrip = DeepReadonly<Static<typeof LiveStripSchema>>;

/** `GET /api/console/live/:run/:agent/:stream`: figures of one listener, second by second from `from` on. */
export const LiveSeriesSchema = Type.Object({
  from: Type.Integer(),
  figures: Type.Array(Nullable(LiveFiguresSchema)),
});
export type LiveSeries = DeepReadonly<Static<typeof LiveSeriesSchema>>;

/** A membership message that an agent heard, or itself put on the wire. */
export const LiveHeardSchema = Type.Object({
  agent: Type.String(),
  atMs: Type.Number(),
  what: Type.Union([Type.Literal("query"), Type.Literal("join"), Type.Literal("leave"), Type.Literal("report")]),
  isOwn: Type.Boolean(),
  version: Type.String(),
  /** Null in a general query. */
  group: Nullable(Type.String()),
  /** Who said it. */
  from: Type.String(),
});
export type LiveHeard = DeepReadonly<Static<typeof LiveHeardSchema>>;
