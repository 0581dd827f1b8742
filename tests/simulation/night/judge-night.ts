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
  /** Of each beginning and end that was told, how far from the true one; ms. */
  readonly errorsMs: readonly number[];
}

/** What is told of a night against what was done in it. Pure. */
export function judgeNight(scene: NightScene, told: readonly ReportIncident[]): NightJudgement {
  const left = [...told];
  const errorsMs: number[] = [];
  const take = (isIt: (one: ReportIncident) => boolean): ReportIncident | undefined => {
    const index = left.findIndex(isIt);
    return index >= 0 ? left.splice(index, 1)[0] : undefined;
  };
  const missed = scene.incidents.filter((known) => {
    const one = take((other) => isTold(known, other));
    if (one !== undefined) {
      errorsMs.push(Math.abs(one.fromMs - known.fromS * 1000), Math.abs(one.toMs - known.toS * 1000));
    }
    return one === undefined;
  });
  const steady = scene.steady
    .map(
      ({ listener, place }): KnownIncident => ({
        ...{ kind: "burst", listeners: [listener], place, every: 0 },
        ...{ fromS: 0, toS: scene.lengthS },
      }),
    )
    .filter((known) => take((one) => isSteady(known, one)) === undefined);
  return { missed: [...missed, ...steady], invented: left, errorsMs };
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
