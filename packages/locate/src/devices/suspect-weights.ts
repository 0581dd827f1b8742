import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { countLikelihood, isUsable } from "./counter-likelihood.ts";
import type { DeviceView, Side } from "./device-view.ts";
import { framesOf, type OtherFrames, othersThrough } from "./expected-frames.ts";
import { type ListedPort, listedPort } from "./listed-port.ts";
import { allCuts, type CountedPath, countedPath, cutsOf, IN, OUT, stepOf } from "./path-cuts.ts";

/** A counter on the way of what a finding is about. */
export interface ReadCounter {
  readonly link: number;
  readonly side: Side;
  readonly frames: number;
  /** Log likelihood where the streams came so far, and where they were lost before. */
  readonly cameLog: number;
  readonly lostLog: number;
}

/** A counter speaks for one of the two where it is a thousand times likelier. */
const CLEAR_LOG = Math.log(1000);

export const hasCome = ({ cameLog, lostLog }: ReadCounter): boolean => cameLog - lostLog > CLEAR_LOG;
export const isLost = ({ cameLog, lostLog }: ReadCounter): boolean => lostLog - cameLog > CLEAR_LOG;

/** A table on the same way. */
export interface ReadTable extends ListedPort {
  readonly link: number;
  readonly group: string;
}

/** What devices say about one finding, along the way to one of the hosts that it is about. */
export interface DeviceWitness {
  readonly path: CountedPath;
  readonly counters: readonly ReadCounter[];
  readonly tables: readonly ReadTable[];
  /** Packets that were sent and that this host lacks. */
  readonly sentFrames: number;
  readonly lostFrames: number;
}

/** How far what a host was joined for may be from what passed while it was, by the time that joins and leaves take. */
const STAY_SLACK_MS = 2_500;
const WHOLE_STAY = 0.98;

/** @param about of the streams of the finding @returns null where no device says anything */
export function deviceWitness(
  site: SiteIndex,
  view: DeviceView,
  streams: readonly StreamFacts[],
  about: readonly { readonly facts: StreamFacts; readonly receipt: PlacedReceipt }[],
  timersOf: (group: string) => MembershipTimers,
): DeviceWitness | null {
  const [first] = about;
  if (first === undefined) return null;
  const served = about.flatMap(({ facts }) =>
    facts.receipts.flatMap(({ node, lostPackets, sentPackets }) => (lostPackets < sentPackets / 2 ? node : [])),
  );
  const path = countedPath(site, first.facts.tree, first.receipt.node, served);
  const sums = sumOf(about);
  const tables = about.flatMap(({ facts: { stream }, receipt: { listener } }) =>
    path.segments.flatMap((segment, link): ReadTable[] => {
      // Where others below got it, the port is there for their sake.
      if (path.isForOthers[link] === true || path.isAskedFor[link] !== true) return [];
      const listed = listedPort(view, segment, stream.group, listener, timersOf(stream.group));
      return listed === null ? [] : [{ ...listed, link, group: stream.group }];
    }),
  );
  const counters = sums === null ? [] : countersOn(site, view, streams, about, path, sums);
  if (counters.length === 0 && tables.length === 0) return null;
  return { path, counters, tables, sentFrames: sums?.sent ?? 0, lostFrames: sums?.lost ?? 0 };
}

interface Sums {
  readonly sent: number;
  readonly lost: number;
  readonly sigma: number;
  readonly firstSentMs: number;
  readonly lastSentMs: number;
}

function sumOf(about: readonly { readonly facts: StreamFacts; readonly receipt: PlacedReceipt }[]): Sums | null {
  let [sent, lost, variance] = [0, 0, 0];
  let [firstSentMs, lastSentMs] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const { facts, receipt } of about) {
    const { stream } = facts;
    const frames = framesOf(facts);
    if (frames === null || stream.firstSentMs === null || stream.lastSentMs === null) return null;
    const isWhole = receipt.sentPackets >= WHOLE_STAY * frames;
    const perMs = frames / Math.max(1, stream.lastSentMs - stream.firstSentMs);
    // A host that was there for a part of the time drew that part alone.
    sent += isWhole ? frames : receipt.sentPackets;
    lost += receipt.lostPackets;
    variance += isWhole ? (frames - receipt.sentPackets) ** 2 : (STAY_SLACK_MS * perMs) ** 2;
    firstSentMs = Math.min(firstSentMs, stream.firstSentMs);
    lastSentMs = Math.max(lastSentMs, stream.lastSentMs);
  }
  return { sent, lost, sigma: Math.sqrt(variance), firstSentMs, lastSentMs };
}

function countersOn(
  site: SiteIndex,
  view: DeviceView,
  streams: readonly StreamFacts[],
  about: readonly { readonly facts: StreamFacts }[],
  path: CountedPath,
  { sent, lost, sigma, firstSentMs, lastSentMs }: Sums,
): ReadCounter[] {
  const own = about.map(({ facts }) => facts);
  const sides: readonly Side[] = ["out", "in"];
  return path.segments.flatMap((segment, link) =>
    sides.flatMap((side): ReadCounter[] => {
      const count = view.counter(segment, side);
      if (count === null || !isUsable(count, firstSentMs, lastSentMs)) return [];
      const others: readonly OtherFrames[] | null = othersThrough(site, streams, own, segment, count.vlan);
      if (others === null) return [];
      const log = (frames: number): number => Math.log(countLikelihood(count, { frames, sigma }, others));
      return [{ link, side, frames: count.frames, cameLog: log(sent), lostLog: log(sent - lost) }];
    }),
  );
}

/**
 * Log likelihood of all that devices say, if this suspect fails; null where no way touches it. Counters of one way, for ways share
 * their first links and what is counted there; tables of all.
 */
export function suspectLog(counted: DeviceWitness, all: readonly DeviceWitness[], suspect: string): number | null {
  const cuts = cutsOf(counted.path, suspect);
  if (cuts.length === 0) return null;
  const most = Math.max(...cuts.map(({ step }) => countersLog(counted, step)));
  const sum = cuts.reduce((total, { step, share }) => total + share * Math.exp(countersLog(counted, step) - most), 0);
  return most + Math.log(sum) + all.reduce((log, witness) => log + tablesLog(witness, suspect), 0);
}

/**
 * Log likelihood of all that devices say where the fault is anywhere on the way but in the suspects, or behind all counters, and no
 * report is lost. Null where nothing was counted, so that nothing is known of other places.
 */
export function elsewhereLog(
  counted: DeviceWitness,
  all: readonly DeviceWitness[],
  suspects: readonly string[],
): number | null {
  if (counted.counters.length === 0) return null;
  const own = new Set(suspects.flatMap((suspect) => cutsOf(counted.path, suspect).map(({ step }) => step)));
  const others = [...allCuts(counted.path), Number.POSITIVE_INFINITY].filter((step) => !own.has(step));
  const counters = meanLog(others.map((step) => countersLog(counted, step)));
  return counters + all.reduce((log, witness) => log + tablesLog(witness, null), 0);
}

/** Log of the mean of what these are the logs of. */
export function meanLog(logs: readonly number[]): number {
  const most = Math.max(...logs);
  return most + Math.log(logs.reduce((sum, log) => sum + Math.exp(log - most), 0) / logs.length);
}

/** Log likelihood of the counters at the likeliest place on the way, suspect or not. */
export const likeliestLog = (witness: DeviceWitness): number =>
  Math.max(...allCuts(witness.path).map((step) => countersLog(witness, step)));

const countersLog = ({ counters }: DeviceWitness, step: number): number =>
  counters.reduce(
    (sum, { link, side, cameLog, lostLog }) =>
      sum + (stepOf(link, side === "out" ? OUT : IN) < step ? cameLog : lostLog),
    0,
  );

/** Reports come up from the listener: above where they are lost no table has them. @param suspect null: no report is lost */
function tablesLog({ path, tables }: DeviceWitness, suspect: string | null): number {
  const lostAt = suspect === null ? null : (cutsOf(path, suspect)[0]?.reportsLostAt ?? null);
  return tables.reduce((log, { link, isListed, wrongChance }) => {
    const isCutOff = lostAt !== null && lostAt >= link;
    return log + Math.log(isListed === isCutOff ? wrongChance : 1 - wrongChance);
  }, 0);
}
