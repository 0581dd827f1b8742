import type { StoryData } from "@dyetrace/wire";
import type { Band, StoryNotes, StoryStream } from "./story-notes.ts";

/** When a stream's packets were sent, and when they came to whom: parted where a stay begins or ends. */
export function dataOf(notes: StoryNotes, hostOf: (agent: string) => string): StoryData[] {
  return notes.streams.flatMap((stream) =>
    notes.agents.flatMap((agent): StoryData[] => {
      const about = { lane: hostOf(agent), stream: stream.name, group: stream.group };
      if (agent === stream.source) return sentBands(notes, stream).map((band) => ({ ...about, ...band, how: "sent" }));
      const stays = notes
        .staysOf(agent, stream.streamId)
        .map(({ joinMs, leaveMs }): Band => ({ fromMs: joinMs, toMs: leaveMs ?? Number.POSITIVE_INFINITY }));
      return notes
        .bandsOf(agent, stream.streamId)
        .flatMap((band) => [
          ...within(band, stays).map((part): StoryData => ({ ...about, ...part, how: "received" })),
          ...outside(band, stays).map((part): StoryData => ({ ...about, ...part, how: "seen" })),
        ]);
    }),
  );
}

/** A source tells in whole intervals that it sent; the plan says from when to when within them. */
const sentBands = (notes: StoryNotes, stream: StoryStream): Band[] =>
  notes.sentBy(stream.source, stream.streamId).flatMap((band) => within(band, stream.emits));

function within(band: Band, parts: readonly Band[]): Band[] {
  return parts.flatMap(({ fromMs, toMs }) => {
    const part = { fromMs: Math.max(band.fromMs, fromMs), toMs: Math.min(band.toMs, toMs) };
    return part.toMs >= part.fromMs ? [part] : [];
  });
}

/** @param parts disjoint, in order */
function outside(band: Band, parts: readonly Band[]): Band[] {
  const left: Band[] = [];
  let fromMs = band.fromMs;
  for (const part of parts) {
    if (part.fromMs > fromMs && fromMs < band.toMs) left.push({ fromMs, toMs: Math.min(part.fromMs, band.toMs) });
    fromMs = Math.max(fromMs, part.toMs);
  }
  if (fromMs < band.toMs) left.push({ fromMs, toMs: band.toMs });
  return left;
}
