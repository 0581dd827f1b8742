export type {
  Conclusion,
  Coverage,
  Finding,
  FindingKind,
  SegmentState,
  SegmentStatus,
} from "./conclusion.ts";
export { coverage } from "./coverage.ts";
export { locate } from "./locate.ts";
export {
  type BystanderObservation,
  type CapabilityGap,
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
} from "./run-observations.ts";
