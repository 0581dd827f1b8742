import { formatCount, formatDurationNs, formatRatio } from "@dyetrace/wire";
import type { AirCountReading, AirGroupReading, AirReading } from "@dyetrace/wire/capture/air-reading-schema";

const MOST_MODES = 4;

/** What `dyetrace-agent air` says to people. */
export function describeAir(file: string, reading: AirReading): string {
  const { durationMs, frames, damagedFrames, unreadableFrames, groups, problem } = reading;
  const length = durationMs === null ? "a time that the file does not tell" : formatDurationNs(durationMs * 1e6);
  const apart = [
    ...(damagedFrames === 0 ? [] : [`${damagedFrames} damaged on the air`]),
    ...(unreadableFrames === 0 ? [] : [`${unreadableFrames} not readable`]),
  ];
  const lines = [
    `${file}: ${length}, ${formatCount(frames)} frames${apart.length === 0 ? "" : ` (${apart.join(", ")})`}`,
  ];
  if (groups.length === 0) lines.push("", "No frame that is readable was of a group.");
  for (const group of groups) lines.push("", ...groupLines(group));
  if (reading.furtherGroupFrames > 0) lines.push("", `${reading.furtherGroupFrames} frames were of still more groups.`);
  if (reading.broadcast.frames > 0) lines.push("", "broadcast", ...countLines("to all", reading.broadcast));
  if (reading.unreadableUnicast.frames > 0) {
    lines.push("", "encrypted frames to single stations: whether they carry multicast is unknown");
    lines.push(...countLines("as unicast", reading.unreadableUnicast));
  }
  if (!reading.hasAnswers) lines.push("", "The capture has no acknowledgements: what arrived is unknown.");
  lines.push(
    "",
    "Times are by the formulas of IEEE 802.11 for the frames that were captured, with DIFS, the mean backoff, and SIFS and",
    "acknowledgement where one was seen. What the capturing radio did not hear is not in them.",
  );
  if (problem !== null) {
    lines.push(
      "",
      `The file is damaged at byte ${problem.offset}: ${problem.sentence}. What came before it is told above.`,
    );
  }
  return `${lines.join("\n")}\n`;
}

function groupLines({ group, linkAddress, oneOf, groupAddressed, asUnicast, fromStations }: AirGroupReading): string[] {
  const head =
    group === null
      ? `${linkAddress}, encrypted: ${oneOf}`
      : `${group}${linkAddress === null ? "" : ` (${linkAddress})`}`;
  return [
    head,
    ...countLines("to the group", groupAddressed),
    ...countLines("as unicast", asUnicast),
    ...countLines("from stations", fromStations),
  ];
}

function countLines(what: string, count: AirCountReading): string[] {
  if (count.frames === 0) return [];
  const share = count.shareRatio === null ? "" : `, ${formatRatio(count.shareRatio)} of the time`;
  const time =
    count.takenMs === null
      ? `time unknown (${count.unknownModeFrames} frames in an unknown mode)`
      : `takes ${formatDurationNs(count.takenMs * 1e6)}${share}`;
  const facts = [
    `${formatCount(count.frames)} frames`,
    ...(what === "as unicast" ? [`to ${count.receivers === 1 ? "1 station" : `${count.receivers} stations`}`] : []),
    ...(count.retries === 0 ? [] : [`${count.retries} sent again (${formatRatio(count.retries / count.frames)})`]),
    ...(count.acknowledgedRatio === null ? [] : [`${formatRatio(count.acknowledgedRatio)} acknowledged`]),
    time,
  ];
  const further = count.modes.length - MOST_MODES;
  const modes = count.modes.slice(0, MOST_MODES).map(({ mode, frames }) => `      ${frames} at ${mode}`);
  return [`  ${what}: ${facts.join(", ")}`, ...modes, ...(further > 0 ? [`      and ${further} further modes`] : [])];
}

const COLUMNS = [
  "group",
  "link_address",
  "way",
  "frames",
  "bytes",
  "receivers",
  "retries",
  "acknowledged_ratio",
  "unknown_mode_frames",
  "air_ms",
  "taken_ms",
  "share_ratio",
] as const;

/** A line for each group and way; unknown is empty. */
export function airCsv({ groups, broadcast, unreadableUnicast }: AirReading): string {
  const rows = [
    ...groups.flatMap(({ group, linkAddress, groupAddressed, asUnicast, fromStations }) => [
      csvRow(group, linkAddress, "group", groupAddressed),
      csvRow(group, linkAddress, "unicast", asUnicast),
      csvRow(group, linkAddress, "from stations", fromStations),
    ]),
    csvRow(null, "ff:ff:ff:ff:ff:ff", "broadcast", broadcast),
    csvRow(null, null, "encrypted unicast", unreadableUnicast),
  ];
  return `${[COLUMNS.join(","), ...rows.filter((row) => row !== null)].join("\r\n")}\r\n`;
}

function csvRow(group: string | null, linkAddress: string | null, way: string, count: AirCountReading): string | null {
  if (count.frames === 0) return null;
  const { frames, bytes, receivers, retries, acknowledgedRatio, unknownModeFrames, airMs, takenMs, shareRatio } = count;
  const numbers = [frames, bytes, receivers, retries, acknowledgedRatio, unknownModeFrames, airMs, takenMs, shareRatio];
  return [group, linkAddress, way, ...numbers].map((cell) => cell ?? "").join(",");
}
