const AT_MOST = 5;
const ON_SLOW = 3;
/** 1.4 times what a core takes on a machine that holds five at a time. Measured on ours, no source. */
const SLOW_MS = 48;
const TRIES = 9;
const STEPS = 30_000_000;

/**
 * Field files at a time on two cores, of which one file needs a quarter to half of one core: it waits for timers of the kernel and
 * of protocols. Three at a time leave more than half of both cores idle on a quiet machine, and take half as long again; where the
 * cores are slow, or others have part of them, five at a time take both whole, and tests that hold times to the kernel's fail.
 */
export function fieldWorkers(): number {
  return Math.min(...Array.from({ length: TRIES }, stepsMs)) <= SLOW_MS ? AT_MOST : ON_SLOW;
}

/** A fixed piece of work; the least of several is what the core can do. */
function stepsMs(): number {
  const began = performance.now();
  let state = 1;
  const seen = new Map<number, number>();
  for (let step = 0; step < STEPS; step++) {
    state = (Math.imul(state, 1_103_515_245) + 12_345) >>> 0;
    if ((state & 63) === 0) seen.set(state & 0xfff, step);
  }
  return seen.size === 0 ? Number.POSITIVE_INFINITY : performance.now() - began;
}
