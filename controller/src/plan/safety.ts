/** How carefully a controller begins to send. Set where the controller is started, never by a request. */
export interface Safety {
  /** True: real users may be on this network. False: a practice site, or this machine's loopback. */
  readonly isLive: boolean;
  /** How long every agent looks and listens before anything is sent. */
  readonly lookNs: number;
  /** How long each step of the ramp lasts. */
  readonly rampStepNs: number;
}

/** Common practice, no source: listen at least 10 s, then double every 10 to 30 s. */
export const LIVE_SAFETY: Safety = { isLive: true, lookNs: 10e9, rampStepNs: 10e9 };

/** Nobody to disturb. The short look only asks agents for the queries that they have heard. */
export const PRACTICE_SAFETY: Safety = { isLive: false, lookNs: 1e9, rampStepNs: 0 };
