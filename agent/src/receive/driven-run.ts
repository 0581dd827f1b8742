/** What a receiving thread does between packets. */
export interface DrivenRun {
  readonly isOver: boolean;
  /** @param drainedNs all that had arrived by then has been taken in @returns when to come back at the latest */
  step(drainedNs: number): number;
}

/** Longest wait without a step, so that an abort is noticed in time. */
export const LONGEST_WAIT_MS = 50;
