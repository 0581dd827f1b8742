import { instant, seconds } from "../finding/wording.ts";
import type { SourceBreak, StreamObservation } from "../run/run-observations.ts";

/** "tower stopped sending board at 6.0 s: the controller was not heard for 5001 ms". */
export function breakWords({ source, stream }: StreamObservation, { stoppedMs, why, heardMs }: SourceBreak): string {
  if (stoppedMs === null) return `${source} told of sending ${stream} up to ${seconds(heardMs)} and then nothing more`;
  return `${source} stopped sending ${stream} ${instant(stoppedMs)}${why === null ? "" : `: ${why}`}`;
}

/** The first break after which the source numbered its packets from 0 again; null where there was none. */
export const firstBegunAnew = ({ breaks = [] }: StreamObservation): (SourceBreak & { againMs: number }) | null => {
  for (const one of breaks) if (one.againMs !== null) return { ...one, againMs: one.againMs };
  return null;
};
