/** How carefully a controller begins to send. Set where the controller is started, never by a request. */
export interface Safety {
  /** True: real users may be on this network. False: a practice site, or this machine's loopback. */
  readonly isLive: boolean;
  /** How long every agent looks and listens before anything is sent. */
  readonly lookNs: number;
  /**
   * How long agents look once more where a run needs the site's timers and nobody has heard a query yet; 0: they do not.
   * On a live site the querier's interval is mostly longer than anyone wants to wait (125 s, RFC 3376 section 8.2).
   */
  readonly secondLookNs: number;
  /** How long each step of the ramp lasts. */
  readonly rampStepNs: number;
}

/** Common practice, no source: listen at least 10 s, then double every 10 to 30 s. */
export const LIVE_SAFETY: Safety = { isLive: true, lookNs: 10e9, secondLookNs: 0, rampStepNs: 10e9 };

/**
 * Nobody to disturb. The short look only asks agents for the queries that they have heard; on a site that has just come up
 * they may have heard none, and its querier asks every 10 s unless told otherwise.
 */
export const PRACTICE_SAFETY: Safety = { isLive: false, lookNs: 1e9, secondLookNs: 12e9, rampStepNs: 0 };
