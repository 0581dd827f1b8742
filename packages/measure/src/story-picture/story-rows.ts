import type { RunStory, StoryData, StoryLane, StoryMark, StoryTable, StoryTimer } from "@dyetrace/wire";
import { protocolName } from "../story/mark-words.ts";
import { sayMs } from "../story/say-span.ts";

/** One row of the picture: what one lane said and got of one group, or one entry of a switch's table. */
export interface StoryRow {
  readonly lane: string;
  readonly name: string;
  /** The group, or how a querier asks. */
  readonly about: string;
  /** The standard's name of the timer, with its value; empty where none runs. */
  readonly timer: string;
  readonly group: string | null;
  readonly marks: readonly StoryMark[];
  readonly data: readonly StoryData[];
  readonly timers: readonly StoryTimer[];
  readonly tables: readonly StoryTable[];
}

/** More rows than a picture has room for; what is left out is named beside it. */
const MOST_ROWS = 60;

export interface StoryRows {
  readonly rows: readonly StoryRow[];
  /** Hosts of which there is nothing to draw, and what found no room. */
  readonly unseen: readonly string[];
}

/** Sources first, then who asks, then who answers, then whoever only got data; what switches kept comes last. */
export function storyRows(story: RunStory): StoryRows {
  const rows = story.lanes.flatMap((lane) =>
    lane.kind === "querier" ? querierRow(story, lane) : hostRows(story, lane),
  );
  const ordered = rows.toSorted((a, b) => rankOf(a, story) - rankOf(b, story));
  const placed = new Set(ordered.flatMap(({ tables }) => tables));
  const tables = story.tables
    .filter((table) => !placed.has(table))
    .reduce((byPlace, table) => {
      const key = `${table.node} ${table.port} ${table.group}`;
      return byPlace.set(key, [...(byPlace.get(key) ?? []), table]);
    }, new Map<string, StoryTable[]>());
  const all = [...ordered, ...[...tables.values()].flatMap(tableRow)];
  const drawn = new Set(all.map(({ lane }) => lane));
  const silent = story.lanes.filter(({ id, kind }) => kind === "host" && !drawn.has(id)).map(({ name }) => name);
  const without = all.slice(MOST_ROWS).map(({ name, about }) => `${name} ${about}`.trim());
  return { rows: all.slice(0, MOST_ROWS), unseen: [...silent, ...new Set(without)] };
}

function rankOf(row: StoryRow, { lanes }: RunStory): number {
  const kind = lanes.find(({ id }) => id === row.lane)?.kind;
  if (row.data.some(({ how }) => how === "sent")) return 0;
  if (kind === "querier") return 1;
  return row.marks.length > 0 ? 2 : 3;
}

function querierRow({ marks, timers }: RunStory, lane: StoryLane): StoryRow[] {
  const own = marks.filter((mark) => mark.lane === lane.id);
  const running = timers.filter((timer) => timer.lane === lane.id);
  if (own.length === 0) return [];
  const versions = [...new Set(own.map(protocolName))].join(", ");
  const about = lane.vlan === null ? versions : `${versions}, VLAN ${lane.vlan}`;
  return [
    {
      lane: lane.id,
      name: `querier ${lane.name}`,
      about,
      timer: timerWords(running),
      group: null,
      marks: own,
      data: [],
      timers: running,
      tables: [],
    },
  ];
}

function hostRows(story: RunStory, lane: StoryLane): StoryRow[] {
  const isOwn = (one: { readonly lane: string }): boolean => one.lane === lane.id;
  const [marks, data, timers] = [story.marks.filter(isOwn), story.data.filter(isOwn), story.timers.filter(isOwn)];
  const groups = [...new Set([...marks, ...data].flatMap(({ group }) => group ?? []))];
  return groups.map((group) => {
    const isOf = (one: { readonly group: string | null }): boolean => one.group === group;
    const running = timers.filter(isOf);
    return {
      lane: lane.id,
      name: lane.name,
      about: group,
      timer: timerWords(running.filter(({ kind }) => kind === "membership")),
      group,
      marks: marks.filter(isOf),
      data: data.filter(isOf),
      timers: running,
      tables: story.tables.filter(({ towards, group: of }) => towards === lane.id && of === group),
    };
  });
}

const tableRow = (tables: readonly StoryTable[]): StoryRow[] => {
  const [first] = tables;
  if (first === undefined) return [];
  const { node, port, towards, group } = first;
  const to = towards === null ? "" : ` towards ${towards}`;
  const about = `${group}${to}`;
  return [
    {
      lane: `table ${node}`,
      name: `${node}, port ${port}`,
      about,
      timer: "",
      group,
      marks: [],
      data: [],
      timers: [],
      tables,
    },
  ];
};

/** `group membership interval 4.5 s`; where it changed, from the least to the most. */
function timerWords(timers: readonly StoryTimer[]): string {
  const [first] = timers;
  if (first === undefined) return "";
  let [least, most] = [first.valueMs, first.valueMs];
  for (const { valueMs } of timers) {
    least = Math.min(least, valueMs);
    most = Math.max(most, valueMs);
  }
  return `${first.name} ${least === most ? sayMs(most) : `${sayMs(least)} to ${sayMs(most)}`}`;
}
