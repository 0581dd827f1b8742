import type { LeakSighting, StreamLeaks } from "./leak-sighting.ts";

/** How many groups a switch holds before it floods them all. */
export interface TableLimit {
  /** Groups that were joined while nothing leaked. */
  readonly held: number;
  /** Groups that were joined when it began. More than one above `held`: they were joined too quickly to tell. */
  readonly tooMany: number;
  /** When everything began to leak. */
  readonly atMs: number;
  /** Groups that had been flowing without a leak until then. */
  readonly quietBefore: number;
}

// The times and counts below: common practice, no source.

/** Fewer groups than this that begin to leak together are no sign of a table. */
const FEWEST_QUIET = 3;
/** A group that flowed for this long without leaking was held. */
const QUIET_MS = 300;
/** Clocks of two hosts, and a frame on its way. */
const CLOCK_MS = 20;
/** The join that was one too many shows at once: in the next frame of any of the groups. */
const SHOWS_WITHIN_MS = 1_000;
/** All groups that were flowing must show within some frames of theirs. */
const FRAMES = 5;
const LEAST_SPREAD_MS = 500;

/**
 * Groups that flowed where they were wanted and nowhere else, until one more was joined, and from then on leak all at
 * once: the group table gave out, and the switch floods. Null when that is not how it went.
 */
export function tableLimit(leaks: readonly StreamLeaks[], sightings: readonly LeakSighting[]): TableLimit | null {
  const timed = sightings.flatMap(({ facts, seen: { bystander } }) => {
    const { firstSentMs } = facts.stream;
    return bystander.firstMs === null || firstSentMs === null
      ? []
      : [{ facts, firstSentMs, seenMs: bystander.firstMs }];
  });
  const atMs = timed.reduce((earliest, { seenMs }) => Math.min(earliest, seenMs), Number.POSITIVE_INFINITY);
  const flowing = timed.filter(({ firstSentMs }) => firstSentMs < atMs - QUIET_MS);
  const quietBefore = new Set(flowing.map(({ facts }) => facts.stream.group)).size;
  if (quietBefore < FEWEST_QUIET) return null;
  const isTogether = flowing.every(({ facts, seenMs }) => {
    const step = facts.stream.steps[0];
    const intervalMs = step === undefined ? 0 : (step.payloadBytes * 8e3) / step.rateBps;
    return seenMs - atMs <= Math.max(LEAST_SPREAD_MS, FRAMES * intervalMs);
  });
  const leaking = new Set(sightings.map(({ facts }) => facts.stream.group));
  const joins = firstJoins(leaks);
  const before = [...joins].filter(([, joinedMs]) => joinedMs <= atMs + CLOCK_MS);
  const lastMs = before.reduce((latest, [, joinedMs]) => Math.max(latest, joinedMs), Number.NEGATIVE_INFINITY);
  // A group that was joined before and does not leak contradicts.
  if (!isTogether || atMs - lastMs > SHOWS_WITHIN_MS || before.some(([group]) => !leaking.has(group))) return null;
  const held = before.filter(([, joinedMs]) => joinedMs < lastMs - CLOCK_MS).length;
  return { held, tooMany: before.length, atMs, quietBefore };
}

/** When each group got its first member. */
function firstJoins(leaks: readonly StreamLeaks[]): ReadonlyMap<string, number> {
  const joins = new Map<string, number>();
  for (const { facts } of leaks) {
    for (const listener of [...facts.receipts.map((receipt) => receipt.listener), ...facts.missing]) {
      const { group } = facts.stream;
      joins.set(group, Math.min(listener.joinedFromMs, joins.get(group) ?? Number.POSITIVE_INFINITY));
    }
  }
  return joins;
}
