export { chooseProbe, wantedAgent } from "./choose-probe.ts";
export type { Conclusion, SegmentState, SegmentStatus } from "./conclusion.ts";
export type { ElementKind } from "./cover/failure-element.ts";
export { type ChosenBurst, chooseBurst } from "./devices/choose-burst.ts";
export { OF_THE_WAY } from "./devices/findings-of-the-way.ts";
export type { Finding, FindingCauses, SuspectElement } from "./finding/finding.ts";
export { locate } from "./locate.ts";
export { type SharedCause, type SharedTrial, sharedCauses } from "./locate-shared.ts";
export type { AuditedQuerier, QuerierAudit, QuerierState } from "./membership/querier-audit.ts";
export { narrowSuspects } from "./narrow-suspects.ts";
export type { Narrowed, NarrowedOutcome, ProbedFinding, ProbedPair } from "./probe/narrow.ts";
export type { Probe, ProbeStream, ProbeTask, SilentStream, WantedAgent } from "./probe/probe.ts";
export type {
  DeviceObservation,
  PortCount,
  PortObservation,
  TableObservation,
} from "./run/device-observations.ts";
export {
  type BystanderObservation,
  type GroupQueryHeard,
  type HeardReport,
  type HostClock,
  type LinkChange,
  type ListenerObservation,
  type MembershipEvent,
  type MembershipTimers,
  type QuerierHeard,
  type QuerierObservation,
  type RunObservations,
  type SendStep,
  type SeqRange,
  type Silence,
  type SourceState,
  STANDARD_TIMERS,
  type StreamObservation,
  type TimeSpan,
} from "./run/run-observations.ts";
export { type Coverage, coverage } from "./tell-apart/coverage.ts";
