import type { DataPath } from "../yaml/yaml-document.ts";
import type { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import { resolveGroups } from "./scenario-file-groups.ts";
import type { ScenarioFileStream } from "./scenario-file-schema.ts";
import type { ScenarioStream } from "./scenario-stream.ts";

/** What stands for the source of a stream whose sender is to be seen yet. */
export const SENDER_UNKNOWN = "unknown sender";
/** Stand in for what nobody knows of a production stream before it was seen. */
const UNKNOWN_RATE_BPS = 1e6;

const DEFAULT_PAYLOAD_BYTES = 1316; // stands in as well

/** Keys of a stream that is sent. */
const SENDING_KEYS = ["source", "rate", "payload", "ttl", "dscp", "burst", "copies", "companion"] as const;

/** @returns the stream, none where a mistake was added */
export function resolveProduction(stream: ScenarioFileStream, entry: number, mistakes: FileMistakes): ScenarioStream[] {
  const path: DataPath = ["streams", entry];
  for (const key of SENDING_KEYS) {
    if (stream[key] === undefined) continue;
    const what = `"${key}" belongs to a stream that is sent, and "${stream.name}" is only followed`;
    mistakes.add([...path, key], what, key === "source" ? "Name its sender by from:" : "Remove it", "key");
  }
  if (stream.port === undefined) {
    mistakes.add(path, `The stream "${stream.name}" has no "port"`, "Write the UDP port that it is sent to");
  }
  const [group] = resolveGroups(stream.group, 1, [...path, "group"], mistakes) ?? [];
  if (group === undefined || stream.port === undefined) return [];
  const from = stream.from === undefined || stream.from === "any" ? null : stream.from;
  const format = stream.format === undefined || stream.format === "look" ? null : stream.format;
  return [
    {
      name: stream.name,
      source: from ?? SENDER_UNKNOWN,
      group: group.text,
      port: stream.port,
      rateBps: UNKNOWN_RATE_BPS,
      payloadBytes: DEFAULT_PAYLOAD_BYTES,
      ttl: 1,
      dscp: 0,
      burstPackets: 1,
      isSourceSpecific: stream.ssm ?? group.isInSourceSpecificRange,
      hasCompanion: false,
      entry,
      production: { from, format },
    },
  ];
}

/** A run that follows what flows on a site sends nothing, so nobody has to ask which streams are whose. */
export function rejectMixed(streams: readonly ScenarioStream[], mistakes: FileMistakes): void {
  const followed = streams.find(({ production }) => production !== undefined);
  const sent = streams.find(({ production }) => production === undefined);
  if (followed === undefined || sent === undefined) return;
  const what = `"${sent.name}" is sent and "${followed.name}" is followed: a run does one of the two`;
  mistakes.add(["streams", Math.max(sent.entry, followed.entry)], what, "Make two scenarios of them");
}
