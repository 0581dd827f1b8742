import { formatIpAddress, isMulticast, isSourceSpecific, parseIpAddress } from "../ip-address.ts";
import { DEFAULT_UDP_PORT, TEST_PACKET_MAX_BYTES, TEST_PACKET_MIN_BYTES } from "../packet/test-packet.ts";
import { formatDurationNs, parseRateBps, parseSizeBytes } from "../units.ts";
import type { DataPath } from "../yaml/yaml-document.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import type { ScenarioFileStream } from "./scenario-file-schema.ts";

/** One source's test traffic to one group and port. */
export interface ScenarioStream {
  /** Unique; a stream with `copies: 3` becomes `board-1` to `board-3`. */
  readonly name: string;
  /** Name of the agent that sends. */
  readonly source: string;
  /** Canonical text (RFC 5952 for IPv6). */
  readonly group: string;
  readonly port: number;
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly ttl: number;
  readonly dscp: number;
  /** Packets back to back at one due time. */
  readonly burstPackets: number;
  /** Listeners join (S,G) rather than (*,G). */
  readonly isSourceSpecific: boolean;
  /** The source also sends a slow unicast stream to each listener. */
  readonly hasCompanion: boolean;
  /** Position in the file's list of streams, from 0; the copies of a stream share it. */
  readonly entry: number;
}

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
  const rateBps = resolveRate(stream.rate, [...path, "rate"], mistakes);
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
    source: stream.source,
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

interface Group {
  readonly text: string;
  readonly isInSourceSpecificRange: boolean;
}

/** @returns `copies` consecutive groups, or null with a mistake added */
function resolveGroups(text: string, copies: number, path: DataPath, mistakes: FileMistakes): Group[] | null {
  const first = parseIpAddress(text);
  if (first === null) {
    mistakes.add(
      path,
      `"${text}" is not an IPv4 or IPv6 address`,
      "Write a group such as 239.195.10.4 or ff15::8000:1",
    );
    return null;
  }
  if (!isMulticast(first)) {
    const range = first.family === 4 ? "224.0.0.0 to 239.255.255.255" : "ff00:: and above";
    mistakes.add(path, `${text} is not a multicast group`, `Groups lie in ${range}`);
    return null;
  }
  const groups: Group[] = [];
  let bytes: Uint8Array | null = first.bytes;
  for (let copy = 0; copy < copies; copy++) {
    if (bytes === null || !isMulticast({ family: first.family, bytes })) {
      mistakes.add(path, `${copies} groups from ${text} on run past the end of the multicast range`, "Begin lower");
      return null;
    }
    groups.push({
      text: formatIpAddress(bytes),
      isInSourceSpecificRange: isSourceSpecific({
        family: first.family,
        bytes,
      }),
    });
    bytes = nextAddress(bytes);
  }
  return groups;
}

/** @returns the address after `bytes`, or null after the last one */
function nextAddress(bytes: Uint8Array): Uint8Array | null {
  const next = Uint8Array.from(bytes);
  for (let at = next.length - 1; at >= 0; at--) {
    const value = (next[at] ?? 0) + 1;
    next[at] = value & 0xff;
    if (value <= 0xff) return next;
  }
  return null;
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
