import type { StoryMark, StoryTimer } from "@dyetrace/wire";
import { sayMs } from "./say-span.ts";

/** Where a timer's value comes from. */
export const SOURCES: Readonly<Record<StoryTimer["source"], string>> = {
  queries: "from the queries",
  site: "the site's own setting",
  measured: "interval measured, the rest by default",
  default: "by default",
};

/** `IGMPv3`, `MLDv2`, `PIM`. */
export function protocolName({ protocol, version }: Pick<StoryMark, "protocol" | "version">): string {
  if (protocol === null) return "";
  if (protocol === "pim") return "PIM";
  return `${protocol === "igmp" ? "IGMP" : "MLD"}v${version}`;
}

/** `reports 239.195.10.4 (IGMPv3, to EXCLUDE {})`. */
export function markWords(mark: StoryMark): string {
  const { kind, group, count, atMs, lastMs, heardBy } = mark;
  const times = count === 1 ? "" : `, ${count} times until ${(lastMs / 1000).toFixed(1)} s`;
  const inBrackets = [protocolName(mark), ...details(mark)].filter((part) => part !== "").join(", ");
  const brackets = inBrackets === "" ? "" : ` (${inBrackets})`;
  const heard = heardBy.length === 0 || lastMs < atMs ? "" : `; heard by ${listOf(heardBy)}`;
  return `${VERBS[kind]}${group === null ? "" : ` ${group}`}${brackets}${times}${heard}`;
}

const VERBS: Readonly<Record<StoryMark["kind"], string>> = {
  query: "asks about all groups",
  "group-query": "asks about",
  report: "reports",
  join: "joins",
  leave: "leaves",
  hello: "says hello to routers",
  "asks-join": "asks its kernel to join",
  "asks-leave": "asks its kernel to leave",
};

function details({ record, sources, maxResponseMs, queryIntervalMs, robustness }: StoryMark): string[] {
  const set = `{${sources.join(", ")}}`;
  return [
    ...(record === null ? [] : [`${RECORDS[record]} ${set}`]),
    ...(record === null && sources.length > 0 ? [`sources ${set}`] : []),
    ...(maxResponseMs === null ? [] : [`answer within ${sayMs(maxResponseMs)}`]),
    ...(queryIntervalMs === null ? [] : [`every ${sayMs(queryIntervalMs)}`]),
    ...(robustness === null ? [] : [`robustness ${robustness}`]),
  ];
}

/** RFC 3376, section 4.2.12. */
const RECORDS: Readonly<Record<NonNullable<StoryMark["record"]>, string>> = {
  IS_IN: "is INCLUDE",
  IS_EX: "is EXCLUDE",
  TO_IN: "to INCLUDE",
  TO_EX: "to EXCLUDE",
  ALLOW: "allow",
  BLOCK: "block",
  unknown: "record of unknown type",
};

/** Names that one line lists. */
const MOST_NAMES = 6;

const listOf = (names: readonly string[]): string =>
  names.length <= MOST_NAMES
    ? names.join(", ")
    : `${names.slice(0, MOST_NAMES).join(", ")} and ${names.length - MOST_NAMES} more`;
