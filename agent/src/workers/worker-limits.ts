import type { ResourceLimits } from "node:worker_threads";

/**
 * What a thread's memory may grow to. Nothing is allocated per packet, so that what is young dies young: without a limit V8 keeps
 * up to 48 MB for it. What lives longer has V8's own limit.
 */
export const WORKER_LIMITS: ResourceLimits = { maxYoungGenerationSizeMb: 3 };
