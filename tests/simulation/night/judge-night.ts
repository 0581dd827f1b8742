import type { ReportIncident } from "@dyetrace/wire";
import type { KnownIncident, NightScene } from "./night-scene.ts";

/** A told time may differ from the true one by a report's second, and by what two packets are apart. */
const WITHIN_MS = 1050;
/** A place is told as a segment with its node, and as such of one more segment at most. */
const MOST_SUSPECTS = 3;
const TOLD_AS: Readonly<Record<KnownIncident["kind"], string>> = {
  outage: "loss",
  burst: "loss",
  away: "away",
  restart: "restart",
  link: "link",
  "querier-change": "querier-change",
  duplicates: "duplicates",
  reordered: "reordered",
  "host-loss": "host-loss",
};

export interface NightJudgement {
  /** Done, and not told as it was: kind, who, from when to when, where. */
  readonly missed: readonly KnownIncident[];
  /** Told, and not done. */
  readonly invented: readonly ReportIncident[];
}

/** What is told of a night against what was done in it. Pure. */
export function judgeNight(scene: NightScene, told: readonly ReportIncident[]): NightJudgement {
  const left = [...told];
  const take = (isIt: (one: ReportIncident) => boolean): boolean => {
    const index = left.findIndex(isIt);
    if (index >= 0) left.splice(index, 1);
    return index >= 0;
  };
  const missed = scene.incidents.filter((known) => !take((one) => isTold(known, one)));
  const steady = scene.steady
    .map(
      ({ listener, place }): KnownIncident => ({
        ...{ kind: "burst", listeners: [listener], place, every: 0 },
        ...{ fromS: 0, toS: scene.lengthS },
      }),
    )
    .filter((known) => !take((one) => isSteady(known, one)));
  return { missed: [...missed, ...steady], invented: left };
}

const isSteady = (known: KnownIncident, told: ReportIncident): boolean =>
  told.isSteady === true &&
  isOf(known, told) &&
  told.fromMs < 10_000 &&
  told.toMs > known.toS * 1000 - 60_000 &&
  isThere(known, told);

const isTold = (known: KnownIncident, told: ReportIncident): boolean =>
  told.isSteady !== true &&
  told.kind === TOLD_AS[known.kind] &&
  Math.abs(told.fromMs - known.fromS * 1000) <= WITHIN_MS &&
  Math.abs(told.toMs - known.toS * 1000) <= WITHIN_MS &&
  isOf(known, told) &&
  isThere(known, told);

const isOf = ({ listeners }: KnownIncident, { agents }: ReportIncident): boolean =>
  listeners.length === agents.length && listeners.every((one) => agents.includes(one));

const isThere = ({ place }: KnownIncident, { suspects }: ReportIncident): boolean =>
  place === null || (suspects.includes(place) && suspects.length <= MOST_SUSPECTS);
