import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import type { ListenerObservation } from "../../../packages/locate/src/run/run-observations.ts";
import type { Observed } from "./observed.ts";
import { isListOf, namesIn } from "./phrase.ts";

export const entries = (finding: Finding, observed: Observed, host: string): ListenerObservation[] =>
  finding.streams.flatMap((stream) => observed.of(stream, host));
export const ofStreams = (list: string, { streams }: Finding): string | null =>
  isListOf(list, streams) ? null : "other streams than the finding's";
/** Something holds for one entry at least of each host named. */
export const each = (
  list: string,
  finding: Finding,
  observed: Observed,
  isSo: (one: ListenerObservation) => boolean,
): string | null => {
  const wrong = namesIn(list).names.filter((host) => !entries(finding, observed, host).some(isSo));
  return wrong.length === 0 ? null : `not so for ${wrong}`;
};
export const sum = (numbers: readonly number[]): number => numbers.reduce((total, n) => total + n, 0);
