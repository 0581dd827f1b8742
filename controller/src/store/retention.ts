/** How long what is kept, and how finely. */
export interface Retention {
  /** Reports stay as they came for this long. */
  readonly fullDetailNs: number;
  /** Then in stretches of 10 s until this age, and of a minute after. */
  readonly tenSecondsNs: number;
  /** Finished runs that no baseline names go after this; null keeps them all. */
  readonly runsNs: number | null;
}

export const DEFAULT_RETENTION: Retention = {
  fullDetailNs: 15 * 60e9,
  tenSecondsNs: 2 * 3600e9,
  runsNs: 90 * 24 * 3600e9,
};

export const TEN_SECONDS_NS = 10e9;
export const ONE_MINUTE_NS = 60e9;
