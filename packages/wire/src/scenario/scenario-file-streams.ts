import { DEFAULT_UDP_PORT, TEST_PACKET_MAX_BYTES, TEST_PACKET_MIN_BYTES } from "../packet/test-packet.ts";
import { formatDurationNs, parseRateBps, parseSizeBytes } from "../units.ts";
import type { DataPath } from "../yaml/yaml-document.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import { resolveGroups } from "./scenario-file-groups.ts";
import { rejectMixed, resolveProduction } from "./scenario-file-production.ts";
import type { ScenarioFileStream } from "./scenario-file-schema.ts";
import type { ScenarioStream } from "./scenario-stream.ts";

/** Slower than this, and a run is over before anything can be said. */
const MAX_PACKET_INTERVAL_NS = 10e9;
const MAX_STREAMS = 4096; // as many as an agent's task holds
const DEFAULT_PAYLOAD_BYTES = 1316; // seven MPEG-TS packets (ISO/IEC 13818-1): what IPTV commonly sends

/** @returns every stream, copies written out; incomplete where mistakes were added */
export function resolveStreams(entries: readonly ScenarioFileStream[], mistakes: FileMistakes): ScenarioStream[] {
  const streams = entries.flatMap((stream, entry) => resolveStream(stream, entry, mistakes));
  if (streams.length > MAX_STREAMS) {
    mistakes.add(["streams"], `With their copies these are ${streams.length} streams`, `Use ${MAX_STREAMS} at most`);
  }
  rejectTwins(entries, streams, mistakes);
  rejectMixed(streams, mistakes);
  return streams;
}

function resolveStream(stream: ScenarioFileStream, entry: number, mistakes: FileMistakes): ScenarioStream[] {
  const path: DataPath = ["streams", entry];
  if (stream.name === "all") {
    mistakes.add(
      [...path, "name"],
      `A stream cannot be called "all", which stands for every stream`,
      "Choose another name",
    );
  }
  if (stream.production === true) return resolveProduction(stream, entry, mistakes);
  for (const key of ["from", "format"] as const) {
    if (stream[key] === undefined) continue;
    const hint = `Add production: true, or remove "${key}"`;
    mistakes.add([...path, key], `"${key}" belongs to a stream that is followed and not sent`, hint, "key");
  }
  const { source, rate } = stream;
  if (source === undefined || rate === undefined) {
    const [key, must] = source === undefined ? ["source", "an agent's name"] : ["rate", "a rate such as 4 Mbit/s"];
    const hint = "Of a stream that flows already, write production: true instead";
    mistakes.add(path, `The key "${key}" is missing here. It must be ${must}`, hint);
    return [];
  }
  const rateBps = resolveRate(rate, [...path, "rate"], mistakes);
  const payloadBytes =
    stream.payload === undefined
      ? DEFAULT_PAYLOAD_BYTES
      : resolvePayload(stream.payload, [...path, "payload"], mistakes);
  const burstPackets = stream.burst ?? 1;
  if (rateBps !== null && payloadBytes !== null) {
    rejectSlow({ rateBps, payloadBytes, burstPackets }, [...path, "rate"], mistakes);
  }
  const copies = stream.copies ?? 1;
  const groups = resolveGroups(stream.group, copies, [...path, "group"], mistakes);
  if (rateBps === null || payloadBytes === null || groups === null) return [];
  return groups.map((group, index) => ({
    name: copies === 1 ? stream.name : `${stream.name}-${index + 1}`,
    source,
    group: group.text,
    port: stream.port ?? DEFAULT_UDP_PORT,
    rateBps,
    payloadBytes,
    ttl: stream.ttl ?? 1,
    dscp: stream.dscp ?? 0,
    burstPackets,
    isSourceSpecific: stream.ssm ?? group.isInSourceSpecificRange,
    hasCompanion: stream.companion ?? false,
    entry,
  }));
}

/** @returns bits per second above 0, or null with a mistake added */
export function resolveRate(text: string, path: DataPath, mistakes: FileMistakes): number | null {
  const rateBps = mistakes.attempt(path, () => parseRateBps(text));
  if (rateBps !== 0) return rateBps;
  mistakes.add(path, "A rate of 0 sends nothing", "Write a rate above 0, or stop the stream");
  return null;
}

/** @returns bytes that a test packet may have, or null with a mistake added */
export function resolvePayload(text: string, path: DataPath, mistakes: FileMistakes): number | null {
  const sizeBytes = mistakes.attempt(path, () => parseSizeBytes(text));
  if (sizeBytes === null) return null;
  if (sizeBytes >= TEST_PACKET_MIN_BYTES && sizeBytes <= TEST_PACKET_MAX_BYTES) return sizeBytes;
  const range = `${TEST_PACKET_MIN_BYTES} B to ${TEST_PACKET_MAX_BYTES} B`;
  mistakes.add(path, `A test packet cannot have ${sizeBytes} B`, `Write a size from ${range}`);
  return null;
}

/** What decides how often a stream sends. */
export type Pace = Pick<ScenarioStream, "rateBps" | "payloadBytes" | "burstPackets">;

/** @returns false, with a mistake added, if a stream would send less than once in `MAX_PACKET_INTERVAL_NS` */
export function rejectSlow(pace: Pace, path: DataPath, mistakes: FileMistakes): boolean {
  const bitsAtOnce = pace.payloadBytes * 8 * pace.burstPackets;
  const intervalNs = (bitsAtOnce / pace.rateBps) * 1e9;
  if (intervalNs <= MAX_PACKET_INTERVAL_NS) return true;
  const lowestBps = Math.ceil(bitsAtOnce / (MAX_PACKET_INTERVAL_NS / 1e9));
  mistakes.add(
    path,
    `At this rate the stream sends only once in ${formatDurationNs(intervalNs)}`,
    `Write ${lowestBps} bit/s or more, or smaller packets`,
  );
  return false;
}

/** What a name in the timeline stands for: a stream, the copies of one, or `all`. */
export type StreamsByName = ReadonlyMap<string, readonly string[]>;

export function indexStreamNames(
  entries: readonly ScenarioFileStream[],
  streams: readonly ScenarioStream[],
): StreamsByName {
  const byName = new Map<string, string[]>([["all", streams.map((stream) => stream.name)]]);
  for (const { name, entry } of streams) {
    byName.set(name, [name]);
    const written = entries[entry]?.name ?? name;
    if (written !== name) byName.set(written, [...(byName.get(written) ?? []), name]);
  }
  return byName;
}

/** Two streams must differ in name, and in group or port: a listener's socket could not tell them apart. */
function rejectTwins(
  entries: readonly ScenarioFileStream[],
  streams: readonly ScenarioStream[],
  mistakes: FileMistakes,
): void {
  const entryOfName = new Map<string, number>();
  const ownerOfTarget = new Map<string, ScenarioStream>();
  const reported = new Set<number>(); // one complaint per entry of the file, however many copies it has
  const report = (entry: number, key: "name" | "group", message: string, hint: string): void => {
    if (reported.has(entry)) return;
    reported.add(entry);
    mistakes.add(["streams", entry, key], message, hint);
  };
  for (const stream of streams) {
    const { entry, group, port } = stream;
    for (const name of new Set([entries[entry]?.name ?? stream.name, stream.name])) {
      if ((entryOfName.get(name) ?? entry) !== entry)
        report(entry, "name", `Two streams are called "${name}"`, "Rename one of them");
      else entryOfName.set(name, entry);
    }
    const twin = ownerOfTarget.get(`${group} ${port}`);
    if (twin === undefined) ownerOfTarget.set(`${group} ${port}`, stream);
    else {
      const both = `The streams "${twin.name}" and "${stream.name}" both use group ${group} and port ${port}`;
      report(entry, "group", both, "Give one of them another group");
    }
  }
}
