import type { RunStory, StoryData, StoryMark, StoryTable } from "@dyetrace/wire";
import { dataOf } from "./data-bands.ts";
import { heededAt } from "./heeded-queries.ts";
import { historyOf, membershipBars } from "./membership-bars.ts";
import { querierBars } from "./querier-bars.ts";
import { movesIn, roamRemarks } from "./roams.ts";
import { laneBook, markOf, type Telling } from "./story-marks.ts";
import type { StoryNotes } from "./story-notes.ts";
import { type Membership, neighboursCut, remarksOn } from "./story-remarks.ts";
import type { SiteTimers } from "./timer-values.ts";

/** What is known of a run beside its agents' reports. */
export interface StorySetting {
  readonly run: string;
  readonly site: string;
  readonly scenario: string;
  /** ISO 8601, UTC; null before the run has begun. */
  readonly startedAt: string | null;
  readonly isOver: boolean;
  /** The plan's name of an agent's host. */
  readonly hostOf: (agent: string) => string;
  /** The port of a snooping switch that a host lies behind: hosts of one port share its table's entry. Null: not known. */
  readonly portOf: (host: string) => string | null;
  /** The plan's access point with a BSSID; null where it has none such. */
  readonly accessPointOf: (bssid: string) => string | null;
  /** Switches that query by the plan; null where it names none. */
  readonly queriers: ReadonlySet<string> | null;
  /** Null: the site's timers are known from its queries alone. */
  readonly siteTimers: SiteTimers | null;
  readonly tables: readonly StoryTable[];
}

/** What is shown of the time before the run. */
const BEFORE_MS = 5_000;
/** More of either are told of none. */
const MOST_MARKS = 20_000;
const MOST_TIMERS = 20_000;

/** The story of a run from what was kept of it. Pure. */
export function tellStory(setting: StorySetting, notes: StoryNotes): RunStory {
  const { hostOf, siteTimers } = setting;
  const untilMs = notes.untilMs;
  const book = laneBook(notes.said(), { hostOf, canWatch: (agent) => notes.canWatch(agent), agents: notes.agents });
  const data = dataOf(notes, hostOf);
  const memberships = membershipsOf(book.tellings, data, setting, untilMs);
  const timers = [
    ...memberships.flatMap(({ bars }) => bars),
    ...querierBars(book.tellings, siteTimers, untilMs),
  ].filter(({ toMs }) => toMs > -BEFORE_MS);
  const marks = [...book.tellings.map(markOf), ...asked(notes, hostOf)]
    .filter(({ lastMs }) => lastMs > -BEFORE_MS)
    .sort((a, b) => a.atMs - b.atMs);
  const groups = new Set(memberships.map(({ history }) => history.group));
  const remarks = [
    ...memberships.flatMap(remarksOn),
    ...notes.agents.flatMap((agent) =>
      roamRemarks(hostOf(agent), movesIn(notes.placesOf(agent)), setting.accessPointOf),
    ),
    ...[...groups].flatMap((group) => neighboursCut(memberships.filter(({ history }) => history.group === group))),
  ].sort((a, b) => a.atMs - b.atMs);
  const leftOut = [...notes.leftOut, ...book.leftOut];
  if (marks.length > MOST_MARKS) leftOut.push(`${marks.length - MOST_MARKS} later messages are not told.`);
  if (timers.length > MOST_TIMERS) leftOut.push(`${timers.length - MOST_TIMERS} runs of timers are not told.`);
  return {
    formatVersion: 1,
    run: setting.run,
    site: setting.site,
    scenario: setting.scenario,
    startedAt: setting.startedAt,
    fromMs: Math.max(-BEFORE_MS, Math.min(0, marks[0]?.atMs ?? 0)),
    toMs: untilMs,
    isOver: setting.isOver,
    lanes: [...book.lanes],
    marks: marks.slice(0, MOST_MARKS),
    data: data.sort((a, b) => a.fromMs - b.fromMs),
    timers: timers.slice(0, MOST_TIMERS).sort((a, b) => a.fromMs - b.fromMs),
    tables: [...setting.tables],
    remarks,
    leftOut,
  };
}

function membershipsOf(
  tellings: readonly Telling[],
  data: readonly StoryData[],
  { portOf, queriers, siteTimers }: StorySetting,
  untilMs: number,
): Membership[] {
  const pairs = new Map<string, { readonly lane: string; readonly group: string; readonly family: 4 | 6 }>();
  for (const { lane, said } of tellings) {
    if (said.group === null || said.kind === "group-query" || said.vlan !== null) continue;
    pairs.set(`${lane} ${said.group}`, { lane, group: said.group, family: said.family });
  }
  return [...pairs.values()].map((pair) => {
    const port = portOf(pair.lane);
    const sharesPort = (lane: string): boolean => port !== null && portOf(lane) === port;
    const isHeeded = heededAt(pair.lane, portOf, queriers);
    const history = historyOf(tellings, { ...pair, sharesPort, isHeeded, site: siteTimers, untilMs });
    const ofGroup = data.filter(({ group }) => group === pair.group);
    return {
      host: pair.lane,
      history,
      bars: membershipBars(history),
      came: joined(ofGroup.filter(({ lane, how }) => lane === pair.lane && how !== "sent")),
      sent: ofGroup.filter(({ how }) => how === "sent"),
    };
  });
}

/** Bands that were parted at a join or a leave alone are one. */
function joined(bands: readonly StoryData[]): StoryData[] {
  const all: StoryData[] = [];
  for (const band of bands.toSorted((a, b) => a.fromMs - b.fromMs)) {
    const last = all.at(-1);
    if (last !== undefined && band.fromMs <= last.toMs) {
      all.splice(-1, 1, { ...last, toMs: Math.max(last.toMs, band.toMs) });
    } else all.push(band);
  }
  return all;
}

/** What agents asked of their own kernels. */
function asked(notes: StoryNotes, hostOf: (agent: string) => string): StoryMark[] {
  const mark = (lane: string, kind: StoryMark["kind"], atMs: number, group: string): StoryMark => ({
    lane,
    kind,
    atMs,
    count: 1,
    lastMs: atMs,
    protocol: null,
    version: null,
    group,
    sources: [],
    record: null,
    maxResponseMs: null,
    queryIntervalMs: null,
    robustness: null,
    heardBy: [],
  });
  return notes.streams.flatMap(({ streamId, group }) =>
    notes.agents.flatMap((agent) =>
      notes
        .staysOf(agent, streamId)
        .flatMap(({ joinMs, leaveMs }) => [
          mark(hostOf(agent), "asks-join", joinMs, group),
          ...(leaveMs === null ? [] : [mark(hostOf(agent), "asks-leave", leaveMs, group)]),
        ]),
    ),
  );
}
