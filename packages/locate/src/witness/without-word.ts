import type { RunObservations } from "../run/run-observations.ts";

const UNSAID = {
  state: "no-report",
  isLeftOut: true,
  receivedPackets: 0,
  window: null,
  lost: [],
  lastArrivalMs: null,
  silences: [],
  ttlSeen: null,
  dscpSeen: null,
} as const;

/**
 * The run as it would be known if a host had said nothing of what it received and saw. Its memberships stay: ports are open
 * for them whatever it says. What it sent stays, too: others tell of that.
 */
export function withoutWord(run: RunObservations, host: string): RunObservations {
  return {
    ...run,
    listeners: run.listeners.map((one) => (one.host !== host ? one : { ...one, ...UNSAID })),
    bystanders: run.bystanders.filter((one) => one.host !== host),
  };
}
