const MINUTE_NS = 60e9;
const MOST_CELLS = 96;

/** How many minutes one cell of a night's strips holds. @param untilNs how far the run is */
export const minutesPerCell = (untilNs: number): number => Math.max(1, Math.ceil(untilNs / MINUTE_NS / MOST_CELLS));

/** The length of such a cell. */
export const cellNsOf = (untilNs: number): number => minutesPerCell(untilNs) * MINUTE_NS;
