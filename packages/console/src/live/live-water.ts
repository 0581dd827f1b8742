import { type HostWater, waterOfMark } from "@dyetrace/picture";
import type { RunOutline } from "@dyetrace/wire";
import type { LiveHistory } from "../state/live-history.ts";
import { stripNews } from "../state/strip-news.ts";

/** What reached an agent, as the newest second of a run says. @param nowSecond the second that the run is in */
export function waterLive(
  history: LiveHistory,
  stream: RunOutline["streams"][number],
  agent: string,
  nowSecond: number,
): HostWater | null {
  if (stream.source === agent) return { kind: "source" };
  const strip = history.strip(agent, stream.streamId);
  const { mark, isNow } = stripNews(strip, nowSecond);
  return waterOfMark(mark, isNow, strip?.last ?? null);
}
