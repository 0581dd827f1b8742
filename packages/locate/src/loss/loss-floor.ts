/**
 * A segment is called lossy only if its loss surely exceeds this: every network loses a packet now and then. Common
 * practice, no source.
 */
export const LOSS_FLOOR = 0.001;
